"""What ``consent languages`` can be told."""

from __future__ import annotations

import argparse


def add(verb: argparse.ArgumentParser) -> None:
    """Give ``verb`` its acts; without one it tells the state of every language."""
    _usual(verb)
    verb.set_defaults(json=False, clinic=None)
    acts = verb.add_subparsers(dest="act", metavar="ACT")
    _tagged(acts, "show", "Tells sheet by sheet what is missing, stale, or not read a second time.")
    read = _tagged(acts, "read", "Prints words beside what a second reader understood, and the English.")
    _which(read)
    review = _tagged(acts, "review", "Raises words to a rung, by somebody with a name and a qualification.")
    _which(review)
    review.add_argument(
        "--rung", type=int, choices=range(2, 8), required=True, help="2 human draft ... 5 clinician checked, 7 released"
    )
    told = 'who read the words: "name, qualification, what language is to them"'
    review.add_argument("--by", metavar="TEXT", required=True, help=told)


def _which(act: argparse.ArgumentParser) -> None:
    act.add_argument("--sheet", metavar="SHEET", action="append", default=[], help="a sheet; may be repeated")
    act.add_argument("--message", metavar="ID", action="append", default=[], help="a message; may be repeated")
    act.add_argument("--all", action="store_true", help="every message of the language")


def _tagged(acts: argparse._SubParsersAction[argparse.ArgumentParser], name: str, text: str) -> argparse.ArgumentParser:
    act = acts.add_parser(name, help=text, description=text)
    act.add_argument("tag", metavar="TAG", help="the language, such as bn")
    _usual(act)
    return act


def _usual(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--clinic", metavar="FILE", default=argparse.SUPPRESS, help="the clinic's settings file")
    parser.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="print as JSON")
