"""Where a case stands: a fold over its entries, up to the last or to any before it."""

from __future__ import annotations

import base64
import datetime as dt
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from consent.case import Case
from consent.case.reading import validate
from consent.errors import AbsentError, CaseError, Problem
from consent.record.keys import Purpose, decrypt, encrypt
from consent.record.ledger import Entry
from consent.record.moves import State
from consent.record.patch import joined, merge
from consent.wording import remark

Keys = Mapping[Purpose, bytes]
"""The keys of one patient that have not been destroyed."""
CONSENT, AFTERCARE = "consent", "aftercare"
"""The two times at which paper is sealed."""


@dataclass(frozen=True)
class SealedPaper:
    """One signed file: which sheet, in which languages, its pages, and the SHA-256 of the file."""

    sheet: str
    languages: tuple[str, ...]
    pages: int
    digest: str


@dataclass(frozen=True)
class SealedSet:
    """The papers of one sign-off. ``code``: SHA-256 of the data they carry; ``void``: the entry that made them void."""

    sequence: int
    stage: str
    version: int
    code: str
    by: str
    at: dt.datetime
    papers: tuple[SealedPaper, ...]
    void: Entry | None = None
    superseded: Entry | None = None

    @property
    def current(self) -> bool:
        """Whether these papers hold."""
        return self.void is None and self.superseded is None


@dataclass(frozen=True)
class Told:
    """One entry with what was kept encrypted in it: the change of the case and the details."""

    entry: Entry
    patch: Mapping[str, Any]
    details: Mapping[str, Any]


@dataclass(frozen=True)
class CaseState:
    """A case after its last entry. ``data``: the case as JSON, without what was erased."""

    subject: str
    state: State = State.NONE
    data: Mapping[str, Any] = field(default_factory=dict)
    history: tuple[Told, ...] = ()
    sets: tuple[SealedSet, ...] = ()
    erased: Entry | None = None

    @property
    def sequence(self) -> int:
        """Sequence of the last entry."""
        return self.history[-1].entry.sequence if self.history else 0

    @property
    def version(self) -> int:
        """Version of the case, as printed."""
        return int(self.data.get("version", 1))

    @cached_property
    def case(self) -> Case:
        """The case. Raises ``AbsentError`` where the patient's identity was erased."""
        if self.erased is not None:
            raise AbsentError(
                Problem(
                    "the patient's identity was erased; what is left is no longer a case of a person",
                    self.subject,
                    f"on {self.erased.at:%Y-%m-%d} by {self.erased.person}",
                    "consent record show lists what remains",
                    remark("problem.erased"),
                )
            )
        return case_of(self.data)

    def sealed(self, stage: str) -> SealedSet | None:
        """The papers of ``stage`` that hold, if there are any."""
        return next((found for found in reversed(self.sets) if found.stage == stage and found.current), None)


def case_of(data: Mapping[str, Any]) -> Case:
    """The case in ``data``. Raises ``CaseError`` with one problem per fault."""
    return validate(dict(data), Case, CaseError, where="case")


def data_of(case: Case) -> dict[str, Any]:
    """``case`` as JSON, with its defaults, so that a later program cannot read others into it."""
    data: dict[str, Any] = case.model_dump(mode="json", by_alias=True, exclude_none=True)
    return data


def sealed_part(keys: Keys, subject: str, purpose: Purpose, value: Mapping[str, Any]) -> str:
    """``value`` encrypted under the patient's key for ``purpose``, base64."""
    plain = json.dumps(value, ensure_ascii=False, separators=(",", ":")).encode()
    return base64.b64encode(encrypt(keys[purpose], plain, f"{subject} {purpose}")).decode()


def opened_part(keys: Keys, subject: str, purpose: Purpose, sealed: str | None) -> Mapping[str, Any]:
    """What ``sealed_part`` was given; nothing where the key was destroyed. ``RecordError`` where it was altered."""
    if sealed is None or purpose not in keys:
        return {}
    value: Mapping[str, Any] = json.loads(decrypt(keys[purpose], base64.b64decode(sealed), f"{subject} {purpose}"))
    return value


def fold(subject: str, entries: Iterable[Entry], keys: Keys) -> CaseState:
    """The case after ``entries``, which are all of ``subject`` and in order."""
    *_, last = moments(subject, entries, keys)
    return last


def moments(subject: str, entries: Iterable[Entry], keys: Keys) -> Iterator[CaseState]:
    """The case before ``entries``, which are all of ``subject`` and in order, and after each of them."""
    case = CaseState(subject)
    yield case
    for entry in entries:
        case = after(case, entry, keys)
        yield case


def after(case: CaseState, entry: Entry, keys: Keys) -> CaseState:
    """``case`` after ``entry``, which is the next of its subject."""
    body = entry.body
    identity = opened_part(keys, case.subject, Purpose.IDENTITY, body.get("identity"))
    content = opened_part(keys, case.subject, Purpose.CONTENT, body.get("content"))
    patch = joined(content.get("patch", {}), identity.get("patch", {}))
    told = Told(entry, patch, {**content.get("details", {}), **identity.get("details", {})})
    data = merge(merge(case.data, content.get("patch", {})), identity.get("patch", {}))
    return replace(
        case,
        state=State(body["state"]),
        data=data,
        history=(*case.history, told),
        sets=_sets(case.sets, entry),
        erased=entry if entry.kind == "erased" else case.erased,
    )


def _sets(sets: tuple[SealedSet, ...], entry: Entry) -> tuple[SealedSet, ...]:
    if code := entry.body.get("voids"):
        sets = tuple(replace(one, void=entry) if one.code == code else one for one in sets)
    if (made := entry.body.get("sealed")) is None:
        return sets
    older = tuple(replace(one, superseded=entry) if one.stage == made["stage"] and one.current else one for one in sets)
    papers = tuple(
        SealedPaper(paper["sheet"], tuple(paper["languages"]), paper["pages"], paper["digest"])
        for paper in made["papers"]
    )
    fresh = SealedSet(entry.sequence, made["stage"], made["version"], made["code"], entry.person, entry.at, papers)
    return (*older, fresh)
