"""``consent record papers``: the signed files of a case that hold, handed out; each time is an entry."""

from __future__ import annotations

import argparse
import json
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from consent.commands import out
from consent.commands.passwords import ask
from consent.commands.settings import find_record
from consent.errors import Problem, RecordError

if TYPE_CHECKING:
    from consent.record.place import Record
    from consent.record.state import CaseState, SealedSet


def run(options: argparse.Namespace) -> None:
    """Write the files into a folder of this case alone, and list them."""
    from consent.pack.earlier import refuse_other_papers
    from consent.pack.files import make_folder
    from consent.record.act import Act
    from consent.record.cases import read_case_state
    from consent.record.entering import enter
    from consent.record.login import identify

    folder = Path(options.to)
    with closing(find_record(options.record, options.clinic)) as record:
        account = identify(record, options.login, ask(f"password of {options.login}"))
        case = read_case_state(record, options.subject)
        held = _held(case)
        refuse_other_papers(folder, case.case.patient.record_number, case.subject)
        make_folder(folder)
        details = {"papers": [f"{paper.sheet}, version {one.version}" for one in held for paper in one.papers]}
        enter(record, account, case.subject, Act("reprinted", case.sequence, reason=options.reason, details=details))
        _write(record, case, held, folder)


def _held(case: CaseState) -> list[SealedSet]:
    held = [one for one in case.sets if one.current]
    if not held:
        remedy = "sign it off first; papers that are void are in the patient's export"
        raise RecordError(Problem("there is no signed paper that holds", case.subject, remedy=remedy))
    return held


def _write(record: Record, case: CaseState, held: list[SealedSet], folder: Path) -> None:
    from consent.pack.earlier import SIGNED
    from consent.record.papers import read_paper

    whose = {"record_number": case.case.patient.record_number, "case": case.subject}
    out.file(folder / SIGNED, f"{json.dumps(whose, ensure_ascii=False, indent=2)}\n".encode())
    for one in held:
        for paper in one.papers:
            path = folder / f"{paper.sheet}.{'-'.join(paper.languages)}.v{one.version}.pdf"
            out.file(path, read_paper(record, paper.digest))
            out.data(str(path))
