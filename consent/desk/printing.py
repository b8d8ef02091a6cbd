"""The tasks that are done in a process of their own: sealing, and printing drafts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from consent.clinic import read_clinic
from consent.compose import Document
from consent.desk.work import File, Outcome, outcome_of
from consent.errors import ConsentError
from consent.record.place import Place, Record, open_record

Task = Callable[[Record, Mapping[str, Any]], Outcome]


def ready() -> None:
    """Load what printing needs."""
    import weasyprint  # noqa: F401

    from consent.print import render

    render.environment()


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
    """Print ``sheets`` of the case as it is; unsigned, and marked as a draft."""
    from consent.pack import compose_pack
    from consent.print import to_pdf
    from consent.record.cases import read_case_state

    case = read_case_state(record, order["subject"])
    pack = compose_pack(
        case.case, record.clinic, tuple(order["languages"]), tuple(order["sheets"]), large=bool(order.get("large"))
    )
    return Outcome(
        tuple(
            File(_name(document), "application/pdf", to_pdf(document, record.clinic.digits))
            for document in pack.documents
        )
    )


def _name(document: Document) -> str:
    return f"{document.sheet}.{'-'.join(tag for tag, _ in document.languages)}.draft.pdf"


_TASKS: dict[str, Task] = {"enter": _enter, "drafts": _drafts}
