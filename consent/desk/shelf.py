"""Every case as it is now, kept in memory and brought up to date from the ledger at each look."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

from consent.errors import AbsentError, Problem
from consent.pack import Pack, compose_pack
from consent.record.cases import read_on
from consent.record.following import written_since
from consent.record.place import Record
from consent.record.state import CaseState
from consent.review import Assessment, assess
from consent.wording import remark

_ASSESSED = 400
"""Assessments kept; each is a few tens of kilobytes."""
_COMPOSED = 40
Made = TypeVar("Made")


class _Latest(Generic[Made]):
    """What was asked for last, at most ``most`` of them; made outside the lock, for it takes a while."""

    def __init__(self, most: int) -> None:
        self._most, self._lock = most, Lock()
        self._held: OrderedDict[Hashable, Made] = OrderedDict()

    def get(self, key: Hashable, make: Callable[[], Made]) -> Made:
        """What is held under ``key``, else what ``make`` gives."""
        with self._lock:
            if key in self._held:
                self._held.move_to_end(key)
                return self._held[key]
        made = make()
        with self._lock:
            self._held[key] = made
            while len(self._held) > self._most:
                self._held.popitem(last=False)
        return made


class Shelf:
    """The cases of a record. What it holds is never newer or older than the ledger at the moment of the look."""

    def __init__(self, record: Record) -> None:
        self._record = record
        self._lock = Lock()
        self._seen = 0
        self._cases: dict[str, CaseState] = {}
        self._assessed: _Latest[Assessment] = _Latest(_ASSESSED)
        self._composed: _Latest[Pack] = _Latest(_COMPOSED)

    def cases(self) -> tuple[CaseState, ...]:
        """Every case, in the order in which they were opened."""
        with self._lock:
            self._follow()
            return tuple(self._cases.values())

    def case(self, subject: str) -> CaseState:
        """The case ``subject``. Raises ``AbsentError`` where there is none."""
        with self._lock:
            self._follow()
            found = self._cases.get(subject)
        if found is None:
            raise AbsentError(Problem("there is no such case in the record", subject, said=remark("problem.no-case")))
        return found

    def assessment(self, case: CaseState) -> Assessment:
        """All that was worked out for ``case``."""
        return self._assessed.get((case.subject, case.sequence), lambda: assess(case.case, self._record.clinic))

    def pack(self, case: CaseState, languages: tuple[str, ...] = ()) -> Pack:
        """The composed sheets of ``case``, which take a quarter of a second the first time."""
        return self._composed.get(
            (case.subject, case.sequence, languages), lambda: compose_pack(case.case, self._record.clinic, languages)
        )

    def _follow(self) -> None:
        last, subjects = written_since(self._record, self._seen)
        for subject in subjects:
            self._cases[subject] = read_on(self._record, self._cases.get(subject) or CaseState(subject))
        self._seen = last
