"""Everything the record holds of one patient, as a folder that needs no program to be read."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from consent.errors import Problem, UsageError
from consent.pack.files import write_whole
from consent.record.accounts import Account
from consent.record.act import Act
from consent.record.cases import all_cases, read_case_state
from consent.record.entering import enter
from consent.record.faults import store_faults
from consent.record.papers import read_paper
from consent.record.place import Record
from consent.record.sheet import lines_of
from consent.record.state import CaseState, SealedPaper, SealedSet
from consent.record.telling import as_data


@dataclass(frozen=True)
class Kept:
    """One signed file in the folder."""

    name: str
    sealed: SealedSet
    paper: SealedPaper


def export(record: Record, account: Account, subject: str, folder: Path, reason: str) -> tuple[Path, ...]:
    """Write all that is kept of the patient of the case ``subject`` into the empty ``folder``; return the files.

    All cases with the same record number: what was entered, by whom, when and why; the signed files as they are kept,
    those that are void too; a page that opens the rest. Handing it out is an entry of each case. The right of access:
    Digital Personal Data Protection Act 2023 of India, section 11; Regulation (EU) 2016/679, articles 15 and 20 (not
    read in their own text). Raises ``UsageError`` where the folder is not empty, ``AccessError`` or ``MoveError``.
    """
    with store_faults(str(folder)):
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        if any(folder.iterdir()):
            remedy = "choose another with --to"
            raise UsageError(Problem("this folder is not empty", str(folder), "two patients' papers would mix", remedy))
    cases = _of_the_patient(record, subject)
    for case in cases:
        enter(record, account, case.subject, Act("exported", case.sequence, reason=reason))
    cases = [read_case_state(record, case.subject) for case in cases]
    with store_faults(str(folder)):
        return tuple(_write(record, cases, folder))


def _of_the_patient(record: Record, subject: str) -> list[CaseState]:
    wanted = read_case_state(record, subject)
    number = wanted.data.get("patient", {}).get("record_number")
    same = (case for case in all_cases(record) if case.data.get("patient", {}).get("record_number") == number)
    return [wanted] if number is None else list(same)


def _write(record: Record, cases: list[CaseState], folder: Path) -> Iterator[Path]:
    papers = folder / "papers"
    papers.mkdir()
    kept = {case.subject: list(_papers(case)) for case in cases}
    for files in kept.values():
        for file in files:
            write_whole(papers / file.name, read_paper(record, file.paper.digest))
            yield papers / file.name
    data = folder / "record.json"
    write_whole(data, json.dumps([as_data(case) for case in cases], ensure_ascii=False, indent=2).encode())
    yield data
    index = folder / "index.html"
    write_whole(index, _page(record, cases, kept).encode())
    yield index


def _papers(case: CaseState) -> Iterator[Kept]:
    if case.erased is not None:
        return
    for sealed in case.sets:
        state = "holds" if sealed.current else "void" if sealed.void else "replaced"
        for paper in sealed.papers:
            tags = "-".join(paper.languages)
            yield Kept(f"{paper.sheet}.{tags}.v{sealed.version}.{sealed.code[:8]}.{state}.pdf", sealed, paper)


def _page(record: Record, cases: list[CaseState], kept: dict[str, list[Kept]]) -> str:
    from consent.print.render import environment

    return (
        environment()
        .get_template("record/export.html")
        .render(
            clinic=record.clinic, at=record.clock(), cases=[_told(record, case, kept[case.subject]) for case in cases]
        )
    )


def _told(record: Record, case: CaseState, files: list[Kept]) -> dict[str, Any]:
    patient = case.data.get("patient", {})
    return {
        "subject": case.subject,
        "state": case.state.value,
        "version": case.version,
        "name": patient.get("name", "identity erased"),
        "number": patient.get("record_number", "-"),
        "eye": case.data.get("eye", {}).get("side", "-"),
        "papers": [(file.name, file.paper.sheet, file.paper.pages, file.sealed) for file in files],
        "entries": list(lines_of(case, record.clinic)),
    }
