"""The tasks that are done in a process of their own: sealing, and printing drafts."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

from consent.clinic import Clinic, read_clinic
from consent.compose import Document
from consent.desk.work import File, Outcome, outcome_of
from consent.errors import ConsentError, Problem
from consent.language import Quoted
from consent.record.place import Place, Record, open_record
from consent.record.state import CaseState
from consent.wording import remark

Task = Callable[[Record, Mapping[str, Any]], Outcome]


def ready() -> None:
    """Load what printing needs."""
    from consent.print import warm_up

    warm_up()


def work(task: str, place: Place, clinic: Clinic, order: Mapping[str, Any]) -> Outcome:
    """Do ``task`` and return what came of it; errors of the family come back as an outcome."""
    try:
        return _TASKS[task](replace(_record(place), clinic=clinic), order)
    except ConsentError as error:
        return outcome_of(error)


@cache
def _record(place: Place) -> Record:
    """The record; each piece of work brings the settings it is made with."""
    return open_record(place, read_clinic())


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


def _lists(record: Record, order: Mapping[str, Any]) -> Outcome:
    """Print lists of one day for staff, and name whoever is on none of them.

    ``order``: day, today, language, sheets; the cases of the day; those operated before; who was left off already.
    """
    from consent.compose import Voice, missed_visits
    from consent.compose.operating_list import in_order
    from consent.pack.day_sheets import assessed_for_lists, lists_of
    from consent.print import to_pdf

    clinic, day, tag = record.clinic, order["day"], order["language"]
    voice, until = Voice((tag,), clinic.digits), min(day, order["today"])
    assessed = [(case, assessed_for_lists(case, clinic)) for case in order["cases"]]
    placed = tuple(enumerate(in_order(found for _, found in assessed if found is not None), 1))
    made = [(day, one) for one in lists_of(placed, day, voice)]
    made.append((until, missed_visits(order["operated"], clinic, until, voice)))
    files = tuple(
        File(f"{one.sheet}.{of:%Y-%m-%d}.{tag}.pdf", "application/pdf", to_pdf(one, clinic.digits))
        for of, one in made
        if one.sheet in order["sheets"]
    )
    left_off = (left_off_lists(case.patient.name, case.patient.record_number) for case, found in assessed if not found)
    return Outcome(files, problems=(*order["left_off"], *left_off))


def left_off_lists(name: str, number: str) -> Problem:
    """Somebody who comes that day and stands on no list."""
    return Problem(
        f"{name}, {number} is not on these lists",
        "lists",
        "the case cannot be worked out",
        "open the case, put it right, and print the lists again",
        remark("problem.left-off", name=Quoted(name), number=Quoted(number)),
    )


def _check(record: Record, _: Mapping[str, Any]) -> Outcome:
    """Hold the whole record against its chain."""
    from consent.record.checking import check_record

    return Outcome(told=check_record(record))


def _backup(record: Record, order: Mapping[str, Any]) -> Outcome:
    """The whole record, encrypted, in a file that is taken away once fetched; ``order``: to, name, passphrase."""
    from consent.record.backup import back_up

    try:
        made = back_up(record, Path(order["to"]) / order["name"], order["passphrase"])
    except BaseException:
        shutil.rmtree(order["to"], ignore_errors=True)
        raise
    return Outcome((File(order["name"], "application/octet-stream", path=made.path),), problems=made.problems)


_TASKS: dict[str, Task] = {"enter": _enter, "drafts": _drafts, "lists": _lists, "check": _check, "backup": _backup}
