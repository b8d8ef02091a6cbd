"""What ``consent batch`` can be told."""

from __future__ import annotations

import argparse
import os

from consent.commands.cluster_options import where


def add(verb: argparse.ArgumentParser) -> None:
    """Add every option of ``consent batch`` to ``verb``."""
    told = "operating list (CSV, XLSX or ODS; one row a patient), or a folder of case files"
    verb.add_argument("list", metavar="LIST", nargs="?", help=told)
    verb.add_argument("--to", metavar="DIR", help="folder for packs, lists and print files; it is made if need be")
    verb.add_argument("--clinic", metavar="FILE", help="the clinic's settings file")
    verb.add_argument("--template", metavar="FILE.csv", help="write an empty list with its headings, and do no more")
    verb.add_argument("--preview", action="store_true", help="show row by row how the list is read, and make nothing")
    told = "write the rows that cannot be used, each with its reason (default: set-aside.csv in DIR)"
    verb.add_argument("--set-aside", metavar="FILE.csv", help=told)
    told = "bring a finished list up to date: make anew what has changed since"
    verb.add_argument("--only", choices=("changed",), help=told)
    told = "processes at work (default: one for each core)"
    verb.add_argument("--processes", metavar="N", type=int, default=os.cpu_count() or 1, help=told)
    where(verb)
    verb.add_argument("--urgent", action="store_true", help="with --cluster: ahead of every list that waits there")
    verb.add_argument("--simplex", action="store_true", help="the printer prints one side: no blank pages between")
    verb.add_argument("--language", metavar="TAG", action="append", default=[], help="a language tag; may be repeated")
    verb.add_argument("--sheet", metavar="SHEET", action="append", default=[], help="only this sheet; may be repeated")
    verb.add_argument("--json", action="store_true", help="print what was made, row by row, as JSON")
    _of_the_list(verb)


def _of_the_list(verb: argparse.ArgumentParser) -> None:
    """What holds for every row that does not say otherwise."""
    group = verb.add_argument_group("for every row that does not say otherwise")
    group.add_argument("--surgeon", metavar="NAME", help="the surgeon")
    group.add_argument("--on", metavar="DATE", help="the day of surgery, such as 2026-12-28")
    group.add_argument("--patients-language", metavar="TAG", help="the language of the patients")
    group.add_argument("--invented", action="store_true", help="nobody on the list is a real person")
