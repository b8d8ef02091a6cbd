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
SIGNED = "papers.json"
"""Beside signed papers that were handed out: whose they are, and of which case."""
_SIGNED_FILE = re.compile(r".+\.v[0-9]+\.pdf")


def has_earlier_pack(folder: Path, record_number: str) -> bool:
    """Return whether ``folder`` holds a pack, which is then of the patient with ``record_number``.

    Raises ``UsageError`` if it holds another patient's papers, or if nobody can tell whose they are.
    """
    for name in (DATA, SIGNED):
        if (folder / name).exists():
            _refuse_another(folder, _told(folder / name, "record_number"), record_number, name)
    return (folder / DATA).exists()


def refuse_other_papers(folder: Path, record_number: str, case: str) -> None:
    """Raise ``UsageError`` if ``folder`` holds another patient's papers, or signed ones of another case: the names of
    their files would be the same; or if nobody can tell whose they are."""
    has_earlier_pack(folder, record_number)
    if (folder / SIGNED).exists():
        if (found := _told(folder / SIGNED, "case")) != case:
            raise _mixed(f"this folder holds signed papers of another case ({found})", folder)
    elif folder.is_dir() and any(_SIGNED_FILE.fullmatch(path.name) for path in folder.iterdir()):
        raise _mixed(f"this folder holds signed papers, and no {SIGNED} that says whose", folder)


def holds_papers(folder: Path) -> bool:
    """Whether ``folder`` holds papers of a patient."""
    return any((folder / name).exists() for name in (DATA, SIGNED))


def _refuse_another(folder: Path, found: str | None, wanted: str, name: str) -> None:
    if found is None:
        raise _mixed(f"this folder holds papers, and its {name} does not say whose", folder)
    if found != wanted:
        raise _mixed(f"this folder holds the papers of another patient (record {found})", folder)


def _mixed(what: str, folder: Path) -> UsageError:
    why = "sheets of two patients, or of two eyes, would lie side by side"
    return UsageError(Problem(what, str(folder), why, "choose another folder with --to"))


def remove_stale(folder: Path, written: Collection[Path]) -> None:
    """Remove sheets and messages of an earlier pack from ``folder`` that are not among ``written``.

    Files with names no pack writes, such as scans, stay. Raises ``MachineError`` if one cannot be removed.
    """
    for path in _of_a_pack(folder):
        if path not in written:
            _remove(path)


def _told(path: Path, key: str) -> str | None:
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    found = data.get(key) if isinstance(data, dict) else None
    return found if isinstance(found, str) else None


def _of_a_pack(folder: Path) -> Iterator[Path]:
    tag = f"(?:{'|'.join(map(re.escape, languages()))})"
    kind = rf"(?:-{tag})*\.pdf|\.html|\.machine-voice\.(?:mp3|wav)"
    name = re.compile(rf"(?:{'|'.join(SHEETS)})\.{tag}(?:{kind})|drops\.{tag}\.txt")
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
