"""For contributors: rewrites the status file of a language (``python -m consent.language.refresh bn``)."""

from __future__ import annotations

import argparse
import sys
from datetime import UTC, datetime

from consent.errors import ConsentError
from consent.language.status import counts, refresh_status


def main(arguments: list[str] | None = None) -> int:
    """Refreshes one language, writes what stands on which rung, and returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m consent.language.refresh", description=__doc__)
    parser.add_argument("tag", help="the language, such as bn")
    parser.add_argument("--drafted-by", default="", help="who or which engine drafted the words; needed the first time")
    options = parser.parse_args(arguments)
    try:
        path = refresh_status(options.tag, drafted_by=options.drafted_by, on=datetime.now(UTC).date())
        state = counts(options.tag)
    except ConsentError as error:
        sys.stderr.write(f"{error}\n")
        return error.exit_code
    rungs = ", ".join(f"rung {int(rung)}: {count}" for rung, count in state.by_rung.items() if count)
    sys.stdout.write(f"{path}: {state.total} messages ({rungs}; stale: {state.stale})\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
