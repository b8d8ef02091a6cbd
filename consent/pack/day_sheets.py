"""The lists of every day on a list: order, lenses, what to have ready, checklist, what needs the surgeon."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from consent.case import Case
from consent.clinic import Clinic
from consent.compose import Document, Voice, missed_visits, operating_list
from consent.compose.day_sheets import Placed, desk_checklist, surgeon_summary
from consent.errors import ConsentError
from consent.pack.batch import Batch
from consent.pack.files import write_lists
from consent.pack.print_file import places
from consent.review import Assessment, assess

LISTS = "lists"
_OURS = re.compile(r"(operating-list|missed-visits|desk-checklist|surgeon-summary)\.\d{4}-\d\d-\d\d\..+\.pdf")


@dataclass(frozen=True)
class DaySheets:
    """The lists written. ``left_off``: record numbers of those who could not even be put on a list."""

    paths: tuple[Path, ...]
    left_off: tuple[str, ...]


def write_day_sheets(batch: Batch, clinic: Clinic, tag: str | None = None) -> DaySheets:
    """Write the lists of each day of ``batch``, in the language ``tag`` or the clinic's, and take away earlier ones.

    Whoever has no papers stands on the checklist and on the summary with that. Numbers on both are places in the list;
    the operating list proposes an order of its own.
    """
    folder = batch.root / LISTS
    found = [assessed_for_lists(case, clinic) for case in batch.cases]
    written: list[Path] = []
    for day in sorted({case.plan.date for case in batch.cases}):
        documents = day_sheets(batch, found, clinic, day, tag or clinic.language)
        written += write_lists(documents, day, clinic.digits, folder)
    for path in sorted(folder.iterdir()):
        if _OURS.fullmatch(path.name) and path not in written:
            path.unlink()
    off = [case.patient.record_number for case, one in zip(batch.cases, found, strict=True) if one is None]
    return DaySheets(tuple(written), tuple(off))


def day_sheets(
    batch: Batch, found: Sequence[Assessment | None], clinic: Clinic, day: dt.date, tag: str
) -> Iterator[Document]:
    """The composed lists of ``day``; ``found`` is the assessment of each case of ``batch``.

    Who has been operated already is on the list of missed visits only.
    """
    rows = zip(batch.cases, places(batch.cases), found, batch.results, strict=True)
    there = [
        (place.number, one, result)
        for case, place, one, result in rows
        if one is not None and case.plan.date == day and case.done is None
    ]
    placed = [(number, one) for number, one, _ in there]
    failed = frozenset(one.case.patient.record_number for _, one, result in there if not result.is_made)
    voice = Voice((tag,), clinic.digits)
    yield from lists_of(placed, day, voice, failed)
    yield missed_visits(batch.cases, clinic, day, voice)


def lists_of(
    placed: Sequence[Placed], day: dt.date, voice: Voice, failed: frozenset[str] = frozenset()
) -> Iterator[Document]:
    """The composed lists of those who are operated on ``day``; none where that is nobody.

    ``failed``: record numbers of those who have no papers.
    """
    if placed:
        yield operating_list([one for _, one in placed], day, voice)
        yield desk_checklist(placed, day, voice, failed)
        yield surgeon_summary(placed, day, voice, failed)


def assessed_for_lists(case: Case, clinic: Clinic) -> Assessment | None:
    """The assessment; where the drops as ordered cannot be planned, one without any drops; else nothing."""
    try:
        return assess(case, clinic)
    except ConsentError:
        pass
    plan = case.plan.model_copy(update={"regimen": None})
    plain = case.model_copy(update={"plan": plan, "own_drops": (), "drop_changes": ()})
    try:
        found = assess(plain, clinic)
    except ConsentError:
        return None
    return replace(found, case=case, drops=replace(found.drops, supplies=()))
