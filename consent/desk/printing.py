"""The tasks that are done in a process of their own: sealing, and printing drafts."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

from consent.clinic import read_clinic
from consent.compose import Document
from consent.desk.work import File, Outcome, outcome_of
from consent.errors import ConsentError
from consent.record.place import Place, Record, open_record
from consent.record.state import CaseState

Task = Callable[[Record, Mapping[str, Any]], Outcome]


def ready() -> None:
    """Load what printing needs."""
    from consent.print import warm_up

    warm_up()


def work(task: str, place: Place, clinic: Path | None, order: Mapping[str, Any]) -> Outcome:
    """Do ``task`` and return what came of it; errors of the family come back as an outcome."""
    try:
        return _TASKS[task](_record(place, clinic), order)
    except ConsentError as error:
        return outcome_of(error)


@cache
def _record(place: Place, clinic: Path | None) -> Record:
    return open_record(place, read_clinic(clinic))


def _enter(record: Record, order: Mapping[str, Any]) -> Outcome:
    """Record an act that seals papers; ``order``: account, subject, act, password."""
    from consent.record.entering import enter

    recorded = enter(record, order["account"], order["subject"], order["act"], order["password"])
    return Outcome(sequence=recorded.entry.sequence)


def _drafts(record: Record, order: Mapping[str, Any]) -> Outcome:
    """Print ``sheets`` of the case as drafts; that for the day before with the sign-off that holds."""
    from consent.print import to_pdf
    from consent.record.cases import read_case_state

    case = read_case_state(record, order["subject"])
    documents = [document for sheets in _apart(order["sheets"]) for document in _composed(record, case, order, sheets)]
    return Outcome(tuple(File(_name(one), "application/pdf", to_pdf(one, record.clinic.digits)) for one in documents))


def _apart(sheets: Sequence[str]) -> list[tuple[str, ...]]:
    """The sheet for the day before by itself: it alone may carry a sign-off."""
    from consent.record.day_before import SHEET

    apart = (tuple(one for one in sheets if one != SHEET), tuple(one for one in sheets if one == SHEET))
    return [group for group in apart if group]


def _composed(
    record: Record, case: CaseState, order: Mapping[str, Any], sheets: tuple[str, ...]
) -> tuple[Document, ...]:
    from consent.pack import compose_pack
    from consent.record.day_before import SHEET, sign_off_that_holds

    signed = sign_off_that_holds(record, case) if sheets == (SHEET,) else None
    languages, large = tuple(order["languages"]), bool(order.get("large"))
    return compose_pack(case.case, record.clinic, languages, sheets, large=large, signed_off=signed).documents


def _name(document: Document) -> str:
    return f"{document.sheet}.{'-'.join(tag for tag, _ in document.languages)}.pdf"


def _check(record: Record, _: Mapping[str, Any]) -> Outcome:
    """Hold the whole record against its chain."""
    from consent.record.checking import check_record

    return Outcome(told=check_record(record))


def _backup(record: Record, order: Mapping[str, Any]) -> Outcome:
    """The whole record, encrypted, in a file that is taken away once fetched; ``order``: to, name, passphrase."""
    from consent.record.backup import back_up

    made = back_up(record, Path(order["to"]) / order["name"], order["passphrase"])
    return Outcome((File(order["name"], "application/octet-stream", path=made.path),), problems=made.problems)


_TASKS: dict[str, Task] = {"enter": _enter, "drafts": _drafts, "check": _check, "backup": _backup}
