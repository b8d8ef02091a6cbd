"""Everything the record holds of one patient, as a folder that needs no program to be read."""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from consent.errors import MachineError, Problem, UsageError
from consent.pack.files import write_whole
from consent.record.accounts import Account
from consent.record.act import Act
from consent.record.cases import all_cases, read_case_state
from consent.record.entering import enter
from consent.record.export_page import page
from consent.record.papers import read_paper
from consent.record.place import Record
from consent.record.state import CaseState
from consent.record.telling import as_data

PAPERS, DATA, INDEX = "papers", "record.json", "index.html"


def export(record: Record, account: Account, subject: str, folder: Path, reason: str) -> tuple[Path, ...]:
    """Write all that is kept of the patient of the case ``subject`` into the new or empty ``folder``, whole or not at
    all; return the files, the page that opens the rest last.

    All cases with the same record number: every entry, by whom, when and why (``record.json``); the case as it is now
    (``CASE.json``, which this program reads again); the signed files byte for byte, those that are void too. Handing
    it out is an entry of each case, made before anything is written. The rights behind it: Digital Personal Data
    Protection Act 2023 of India, section 11; Regulation (EU) 2016/679, articles 15 and 20; neither was read in primary
    text. Raises ``UsageError`` where the folder is not empty, ``AccessError``, ``MoveError``, ``MachineError`` where
    the folder cannot be written, or ``RecordError`` where the identity was erased.
    """
    cases = _of_the_patient(record, subject)
    _refuse_used(folder)
    for case in cases:
        enter(record, account, case.subject, Act("exported", case.sequence, reason=reason))
    cases = [read_case_state(record, case.subject) for case in cases]
    try:
        return tuple(folder / name for name in _write_whole(record, cases, folder))
    except OSError as failure:
        raise MachineError(
            Problem(
                f"the folder cannot be written ({failure.strerror})",
                str(folder),
                "nothing was handed out, though the record says that it was asked for",
                "choose another folder with --to",
            )
        ) from failure


def _of_the_patient(record: Record, subject: str) -> list[CaseState]:
    number = read_case_state(record, subject).case.patient.record_number
    return [one for one in all_cases(record) if one.data.get("patient", {}).get("record_number") == number]


def _refuse_used(folder: Path) -> None:
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        remedy = "choose another with --to"
        what = "this folder is not empty" if folder.is_dir() else "this is not a folder"
        raise UsageError(Problem(what, str(folder), "the papers of two patients would mix", remedy))


def _write_whole(record: Record, cases: list[CaseState], folder: Path) -> list[str]:
    """Write into a folder beside, which only its owner can enter, and move it to its place."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    beside = Path(tempfile.mkdtemp(dir=folder.parent, prefix=f".{folder.name}."))
    try:
        written = list(_write(record, cases, beside))
        beside.rename(folder)
    except BaseException:
        shutil.rmtree(beside)
        raise
    return written


def _write(record: Record, cases: list[CaseState], folder: Path) -> Iterator[str]:
    (folder / PAPERS).mkdir()
    files = {digest: f"{PAPERS}/{name}" for case in cases for digest, name in _papers(case)}
    for digest, name in files.items():
        write_whole(folder / name, read_paper(record, digest))
        yield name
    for case in cases:
        write_whole(folder / f"{case.subject}.json", _json(dict(case.data)))
        yield f"{case.subject}.json"
    write_whole(folder / DATA, _json([as_data(case) for case in cases]))
    yield DATA
    write_whole(folder / INDEX, page(record.clinic, record.clock(), cases, files).encode())
    yield INDEX


def _papers(case: CaseState) -> Iterator[tuple[str, str]]:
    """Digest and name of each signed file; the name says whether it held when it was handed out."""
    for sealed in case.sets:
        state = "holds" if sealed.current else "void" if sealed.void else "replaced"
        for paper in sealed.papers:
            tags = "-".join(paper.languages)
            yield paper.digest, f"{paper.sheet}.{tags}.v{sealed.version}.{paper.digest[:8]}.{state}.pdf"


def _json(value: object) -> bytes:
    return f"{json.dumps(value, ensure_ascii=False, indent=2)}\n".encode()
