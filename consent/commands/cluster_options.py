"""Where several machines print together, and what ``consent worker`` can be told."""

from __future__ import annotations

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING

from consent.errors import Problem, UsageError

if TYPE_CHECKING:
    from consent.cluster.place import Cluster


def where(verb: argparse.ArgumentParser) -> None:
    """Add how to reach the cluster to ``verb``."""
    told = "PostgreSQL database that several machines print by (postgresql://...); extra [cluster]"
    verb.add_argument("--cluster", metavar="ADDRESS", default=os.environ.get("CONSENT_CLUSTER"), help=told)
    told = "the cluster's key, the same file on every machine"
    verb.add_argument("--cluster-key", metavar="FILE", default=os.environ.get("CONSENT_CLUSTER_KEY"), help=told)


def cluster(options: argparse.Namespace) -> Cluster | None:
    """The cluster that is named; None where none is. Raises ``UsageError`` for an address without a key."""
    if not options.cluster:
        return None
    if not options.cluster_key:
        raise UsageError(
            Problem(
                "a cluster has a key, and none is named",
                "--cluster-key",
                "what lies in its database of patients is encrypted under it",
                "name the file; consent worker --make-key FILE makes one",
            )
        )
    from consent.cluster.place import open_cluster

    return open_cluster(options.cluster, Path(options.cluster_key))


def of_worker(verb: argparse.ArgumentParser) -> None:
    """Add every option of ``consent worker`` to ``verb``."""
    where(verb)
    cores = os.cpu_count() or 1
    verb.add_argument("--processes", metavar="N", type=int, default=cores, help="default: one for each core")
    verb.add_argument("--until-empty", action="store_true", help="end when nothing is left to make")
    verb.add_argument("--make-key", metavar="FILE", help="write a fresh key for a new cluster, and do no more")
