"""``consent languages``: state of each translation."""

from __future__ import annotations

import argparse

from consent.commands import out
from consent.language import counts, languages


def run(options: argparse.Namespace) -> None:
    """Print how many messages of each language stand on which rung."""
    found = {tag: counts(tag) for tag in languages()}
    if options.json:
        out.as_json(
            {
                tag: {"messages": c.total, "stale": c.stale, "rungs": {int(r): n for r, n in c.by_rung.items() if n}}
                for tag, c in found.items()
            }
        )
        return
    for tag, state in found.items():
        rungs = ", ".join(
            f"{count} {rung.name.lower().replace('_', ' ')}" for rung, count in state.by_rung.items() if count
        )
        out.data(f"{tag:4} {state.total} messages: {rungs}; stale: {state.stale}")
