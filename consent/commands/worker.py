"""``consent worker``: makes packs that somebody ordered on another machine."""

from __future__ import annotations

import argparse
from pathlib import Path

from consent.commands import out
from consent.commands.cluster_options import cluster
from consent.errors import Problem, UsageError


def run(options: argparse.Namespace) -> None:
    """Work until stopped, or until nothing is left."""
    if options.make_key:
        from consent.cluster.place import make_key

        make_key(Path(options.make_key))
        out.data(options.make_key)
        out.chatter("Copy it to every machine of the cluster, readable by its owner only. Who has it reads what waits.")
        return
    found = cluster(options)
    if found is None:
        raise UsageError(
            Problem("it is not said where to work", "--cluster", remedy="name the database of the cluster")
        )
    if options.processes < 1:
        raise UsageError(Problem("somebody has to do the work", "--processes", remedy="give a number from 1"))
    from consent.cluster.worker import work

    out.chatter("Working. Stop with Ctrl-C: what is in hand is finished first.")
    work(found, options.processes, options.until_empty)
