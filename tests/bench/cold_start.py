"""Prints ratios of one run: a cold demo against a cold Chromium, and ``consent --help`` against ``python -c pass``.

Both sides print the same HTML of the same sheets with the same fonts. Chromium is started anew for each sheet, as
WeasyPrint starts anew with the process; the sum over the sheets is compared. Not a test: nothing is asserted.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from consent.case import read_case
from consent.clinic import read_clinic
from consent.pack import compose_pack
from consent.print import to_html
from consent.resources import package_data, templates
from tests.chromium import FLAGS

ROUNDS = 3
COMMAND = Path(sys.executable).parent / "consent"
QUIET = ["--headless", *FLAGS, "--no-pdf-header-footer"]


def timed(command: list[str | Path]) -> float:
    """Seconds of one command."""
    start = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    return time.perf_counter() - start


def median(command: list[str | Path], rounds: int = ROUNDS) -> float:
    """Median seconds of a command."""
    return statistics.median(timed(command) for _ in range(rounds))


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        case = read_case(package_data("case", "examples", "hard.toml"))
        style = (templates() / "styles" / "sheet.css").read_text(encoding="utf-8")
        sheets = []
        for number, document in enumerate(compose_pack(case, read_clinic()).documents):
            path = folder / f"{number}.html"
            path.write_text(to_html(document).replace("</head>", f"<style>{style}</style></head>"), encoding="utf-8")
            sheets.append(path)
        ours = median([COMMAND, "demo", "--to", folder / "pack"])
        theirs = statistics.median(
            sum(
                timed(
                    [
                        "chromium",
                        *QUIET,
                        f"--user-data-dir={folder / f'profile-{turn}-{sheet.stem}'}",
                        f"--print-to-pdf={folder / f'{sheet.stem}.pdf'}",
                        sheet.as_uri(),
                    ]
                )
                for sheet in sheets
            )
            for turn in range(ROUNDS)
        )
        helped, bare = median([COMMAND, "--help"], 9), median([sys.executable, "-c", "pass"], 9)
    print(f"demo, cold: {ours:.2f} s; Chromium, cold, {len(sheets)} sheets: {theirs:.2f} s; ratio {ours / theirs:.2f}")
    print(f"consent --help: {helped * 1000:.0f} ms; python -c pass: {bare * 1000:.0f} ms; ratio {helped / bare:.2f}")


if __name__ == "__main__":
    main()
