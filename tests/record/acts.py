"""For every kind of entry, something a clinic would enter with it, so that only order, person and moment decide."""

from __future__ import annotations

import datetime as dt
import secrets
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from typing import Any
from unittest.mock import patch

from argon2 import PasswordHasher

from consent.case import Case
from consent.record.canonical import digest
from consent.record.ledger import Person
from consent.record.making import Made
from consent.record.place import Record
from consent.record.state import CONSENT, CaseState
from tests.record.story import IST, Story

Said = tuple[Mapping[str, Any] | None, str | None, Mapping[str, Any]]
"""Dotted changes of the case, a reason, details."""
WHY = "As the day showed."


@cache
def cheap_hasher() -> PasswordHasher:
    """Argon2 with the least it can be asked for: what it costs is tested where its parameters are."""
    return PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)


def fake_papers(record: Record, person: Person, data: Mapping[str, Any], stage: str) -> Made:
    """Papers of a few random bytes, described as real ones are."""
    pdf = secrets.token_bytes(40)
    code = secrets.token_hex(32)
    paper = {"sheet": "consent-form", "languages": ["bn", "en"], "pages": 1, "digest": digest(pdf)}
    described = {"stage": stage, "version": data["version"], "code": code, "by": person.name, "papers": [paper]}
    described |= {"registration": person.registration}
    return Made(code, (pdf,), described)


def other_lens(before: Case, after: Case, *_: object) -> tuple[str, ...]:
    """What a change alters in signed papers, judged by the lens alone: the machine does not compose sheets."""
    return ("consent-form",) if before.plan.lens != after.plan.lens else ()


@contextmanager
def without_printing() -> Iterator[None]:
    """Cheap passwords, papers of a few bytes, and the lens as the only thing that is signed."""
    with (
        patch("consent.record.accounts.hasher", cheap_hasher),
        patch("consent.record.signing.make_papers", fake_papers),
        patch("consent.record.voiding.changed_words", other_lens),
    ):
        yield


def said_with(kind: str, story: Story, now: CaseState, at: dt.datetime) -> Said:
    """What goes with an entry of ``kind`` made by the surgeon or whoever may, at ``at``."""
    made = _MAKERS.get(kind)
    changes, details = made(story, now, at) if made else (None, {})
    return changes, WHY if kind in _REASONED else None, details


_REASONED = frozenset(
    {
        "sent-back",
        "withdrawn",
        "voided",
        "reopened",
        "not-confirmed",
        "done-out-of-order",
        "noted",
        "reprinted",
        "exported",
        "erased",
    }
)


def _talk(story: Story, now: CaseState, at: dt.datetime, outcome: str) -> Mapping[str, Any]:
    talk = now.data.get("talk", {})
    held = {"at": (at - dt.timedelta(minutes=5)).astimezone(IST).isoformat(), "by": story.staff.counsellor.name}
    return {"talk": {**talk, **held, "outcome": outcome}}


def _signature(story: Story, now: CaseState, _: dt.datetime) -> tuple[None, Mapping[str, Any]]:
    held = now.sealed(CONSENT)
    name = now.data["patient"]["name"]
    code = held.code if held else "0" * 64
    return None, {"by": name, "how": "thumb impression", "witness": "W. Neighbour", "code": code}


def _confirmation(story: Story, now: CaseState, at: dt.datetime) -> tuple[Mapping[str, Any], Mapping[str, Any]]:
    asked = (
        "condition_changed",
        "plan_changed",
        "surgeon_changed",
        "information_changed",
        "mind_changed",
        "too_long_ago",
    )
    second = {**dict.fromkeys(asked, "no"), "at": at.astimezone(IST).isoformat(), "by": "T. Example"}
    return {"confirmation": {**second, "still_wishes": "yes"}}, {}


def _done(story: Story, now: CaseState, _: dt.datetime) -> tuple[Mapping[str, Any], Mapping[str, Any]]:
    return {"done": {"side": now.data["plan"]["side"], "by": story.staff.surgeon.name, "stitches": 0}}, {}


def _decided(story: Story, at: dt.datetime) -> dict[str, Any]:
    surgeon = story.staff.surgeon
    return {"by": surgeon.name, "registration": surgeon.registration, "at": at.astimezone(IST).isoformat()}


def _answer(story: Story, now: CaseState, at: dt.datetime) -> tuple[Mapping[str, Any], Mapping[str, Any]]:
    given = now.data.get("answers", [])
    answer = {"point": "only-eye", "key": f"{len(given):08x}", "why": WHY, **_decided(story, at)}
    return {"answers": [*given, answer]}, {}


def _drops(story: Story, now: CaseState, _: dt.datetime) -> tuple[Mapping[str, Any], Mapping[str, Any]]:
    given = now.data.get("drop_changes", [])
    day = dt.date.fromisoformat(now.data["plan"]["date"]) + dt.timedelta(days=3 * (len(given) + 1))
    surgeon = story.staff.surgeon
    change = {"on": day.isoformat(), "regimen": "weekly-4-3-2-1", "by": surgeon.name, "why": WHY}
    return {"drop_changes": [*given, {**change, "registration": surgeon.registration}]}, {}


_MAKERS = {
    "changed": lambda story, now, at: ({"patient.telephone": f"00000 {secrets.randbelow(90000) + 10000}"}, {}),
    "explained": lambda story, now, at: (_talk(story, now, at, "agrees"), {}),
    "said-back": lambda story, now, at: ({"talk.said_back": [{"question": "which eye", "result": "first time"}]}, {}),
    "asked": lambda story, now, at: ({"talk.questions": [{"question": "Will it hurt?"}]}, {}),
    "answered": _answer,
    "figures-accepted": lambda story, now, at: ({"figures_accepted": _decided(story, at)}, {}),
    "consented": _signature,
    "declined": lambda story, now, at: (_talk(story, now, at, "refuses"), {}),
    "wants-time": lambda story, now, at: (_talk(story, now, at, "wants time"), {}),
    "confirmed": _confirmation,
    "done": _done,
    "done-out-of-order": _done,
    "first-day": lambda story, now, at: ({"day1": {"pressure_mmhg": 10 + now.sequence % 100 / 10}}, {}),
    "drops-changed": _drops,
    "looked-at": lambda story, now, at: (None, {"what": "the review"}),
}
