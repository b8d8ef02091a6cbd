"""A case of the record as lines of text and as data."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from consent.clinic import Clinic
from consent.compose import Voice
from consent.record.sheet import entries_table
from consent.record.state import CaseState, SealedSet


def as_text(case: CaseState, clinic: Clinic) -> Iterator[str]:
    """The case line by line, in English: where it stands, its signed papers, every entry."""
    voice = Voice(("en",), clinic.digits)
    yield f"{case.subject}: {case.state}, version {case.version}, last entry {case.sequence}"
    for one in case.sets:
        yield f"papers of version {one.version} ({one.stage}), signed by {one.by}: {_holds(one)}"
    for row in entries_table(case, clinic, voice).rows:
        yield "  ".join(line[0].plain for line in row)


def _holds(one: SealedSet) -> str:
    if one.void is not None:
        return f"void since entry {one.void.sequence}"
    if one.superseded is not None:
        return f"replaced by entry {one.superseded.sequence}"
    return "they hold"


def as_data(case: CaseState) -> dict[str, Any]:
    """The case ready for JSON: ``state``, ``version``, ``last_entry``, ``data``, ``papers``, and ``entries`` with what
    each changed."""
    return {
        "case": case.subject,
        "state": case.state.value,
        "version": case.version,
        "last_entry": case.sequence,
        "erased": case.erased is not None,
        "data": dict(case.data),
        "papers": [_set(one) for one in case.sets],
        "entries": [
            {
                "sequence": told.entry.sequence,
                "at": told.entry.at.isoformat(),
                "kind": told.entry.kind,
                "person": told.entry.person,
                "account": told.entry.account,
                "role": told.entry.role,
                "state": told.entry.body["state"],
                "changes": dict(told.patch),
                "details": dict(told.details),
                "previous": told.entry.previous,
                "hash": told.entry.hash,
            }
            for told in case.history
        ],
    }


def _set(one: SealedSet) -> dict[str, Any]:
    return {
        "entry": one.sequence,
        "stage": one.stage,
        "version": one.version,
        "code": one.code,
        "signed_by": one.by,
        "at": one.at.isoformat(),
        "holds": one.current,
        "void_since": one.void.sequence if one.void else None,
        "replaced_by": one.superseded.sequence if one.superseded else None,
        "papers": [
            {"sheet": paper.sheet, "languages": list(paper.languages), "pages": paper.pages, "sha256": paper.digest}
            for paper in one.papers
        ],
    }
