"""Whose papers a folder holds already: another patient's are never written over, and none of an earlier pack stay."""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Iterator
from pathlib import Path

from consent.errors import MachineError, Problem, UsageError
from consent.language import languages
from consent.pack.compose import SHEETS

DATA = "assessment.json"


def has_earlier_pack(folder: Path, record_number: str) -> bool:
    """Return whether ``folder`` holds a pack, which is then of the patient with ``record_number``.

    Raises ``UsageError`` if it is another patient's, or if nobody can tell whose it is.
    """
    if not (folder / DATA).exists():
        return False
    found = _record_in(folder)
    if found != record_number:
        another = f"this folder holds the papers of another patient (record {found})"
        raise UsageError(
            Problem(
                another if found else f"this folder holds papers, and its {DATA} does not say whose",
                str(folder),
                "sheets of two patients would lie side by side",
                "choose another folder with --to",
            )
        )
    return True


def remove_stale(folder: Path, written: Collection[Path]) -> None:
    """Remove sheets and messages of an earlier pack from ``folder`` that are not among ``written``.

    Files with names no pack writes, such as scans, stay. Raises ``MachineError`` if one cannot be removed.
    """
    for path in _of_a_pack(folder):
        if path not in written:
            _remove(path)


def _record_in(folder: Path) -> str | None:
    try:
        data = json.loads((folder / DATA).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    found = data.get("record_number") if isinstance(data, dict) else None
    return found if isinstance(found, str) else None


def _of_a_pack(folder: Path) -> Iterator[Path]:
    tag = f"(?:{'|'.join(map(re.escape, languages()))})"
    name = re.compile(rf"(?:{'|'.join(SHEETS)})\.{tag}(?:-{tag})*\.pdf|drops\.{tag}\.txt")
    return (path for path in sorted(folder.iterdir()) if name.fullmatch(path.name))


def _remove(path: Path) -> None:
    try:
        path.unlink()
    except OSError as failure:
        raise MachineError(
            Problem(
                f"a sheet of an earlier version cannot be removed ({failure.strerror or 'unknown reason'})",
                str(path),
                "it would be taken for one of this version",
                "close it where it is open, and remove it by hand",
            )
        ) from failure
