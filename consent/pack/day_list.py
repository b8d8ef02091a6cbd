"""The sheets of an operating day, from the cases of its patients."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from consent.case import Case
from consent.clinic import Clinic
from consent.compose import Document, Voice, missed_visits, operating_list
from consent.errors import Problem, UsageError
from consent.language import languages
from consent.review import assess


def compose_list(cases: Sequence[Case], clinic: Clinic, day: dt.date, tag: str) -> tuple[Document, ...]:
    """Return the operating list of ``day`` and the visits missed before it, in the language ``tag``.

    Patients already operated are on the list of missed visits only. Without anybody to operate on that day there is
    no operating list. Raises ``UsageError`` where a record number stands twice.
    """
    if tag not in languages():
        raise UsageError(
            Problem(f'there are no words in "{tag}"', "language", remedy=f"choose from: {', '.join(languages())}")
        )
    written = [case.patient.record_number for case in cases]
    numbers = [number.strip().casefold() for number in written]
    twice = sorted(name for name, number in zip(written, numbers, strict=True) if numbers.count(number) > 1)
    if twice:
        raise UsageError(
            Problem(
                f"record number {twice[0]} stands twice",
                "CASE",
                "one of the two would get the other's lens",
                "keep one file a patient; two eyes of one patient are two days",
            )
        )
    waiting = [assess(case, clinic) for case in cases if case.done is None and case.plan.date == day]
    made = [operating_list(waiting, day, Voice((tag,), clinic.digits))] if waiting else []
    return (*made, missed_visits(cases, clinic, day, Voice((tag,), clinic.digits)))
