"""Entries of a case as they are read on a page: when, who, what, with the names and choices of the forms."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from consent.desk.fields import Field, field
from consent.desk.here import Visitor
from consent.desk.typed import NOTHING, at
from consent.desk.words import Words
from consent.language import Quoted, Said
from consent.record.patch import merge, paths
from consent.record.state import CaseState, Told
from consent.wording import remark

_UNANSWERED: tuple[Any, ...] = (NOTHING, None, "unknown", "not asked", [])
"""What is no answer yet: what takes its place was entered, not changed."""
_NOT_TOLD = frozenset({"version", "figures_accepted.figures"})
"""What the record works out beside an entry."""


@dataclass(frozen=True)
class EntryLine:
    """One entry. ``what``: its kind; ``lines``: its reason, and what it changed."""

    when: Markup
    who: Markup
    what: Markup
    lines: tuple[Markup, ...]


def entry_lines(here: Visitor, case: CaseState, places: Collection[int]) -> tuple[EntryLine, ...]:
    """The entries of ``case`` at ``places``, the newest first."""
    return tuple(reversed(list(_lines(here, case, places))))


def _lines(here: Visitor, case: CaseState, places: Collection[int]) -> Iterator[EntryLine]:
    words, before = here.words, dict[str, Any]()
    for told in case.history:
        if told.entry.sequence in places:
            role = remark(f"record.role.{told.entry.role}")
            yield EntryLine(
                words.moment(told.entry.at, here.office.zone),
                words.say("record.person", name=Quoted(told.entry.person), role=role),
                words.say(f"record.kind.{told.entry.kind}"),
                (*_reason(words, told), *_changes(words, told, before)),
            )
        before = merge(before, told.patch)


def _reason(words: Words, told: Told) -> Iterator[Markup]:
    if reason := told.details.get("reason"):
        yield words.say("record.reason", reason=Quoted(str(reason)))


def _changes(words: Words, told: Told, before: Mapping[str, Any]) -> Iterator[Markup]:
    """What changed; of a case just opened, all that is in it did."""
    for path in paths(told.patch) if told.entry.kind != "opened" else ():
        if path not in _NOT_TOLD:
            yield _change(words, path, at(before, path), at(told.patch, path))


def _change(words: Words, path: str, old: Any, new: Any) -> Markup:
    if isinstance(old, list) and isinstance(new, list):
        # Of a list, what is told is what was put in and what was taken out.
        old, new = [one for one in old if one not in new], [one for one in new if one not in old]
    slots: dict[str, object] = {"key": words.said(f"field.{path}") if words.has(f"field.{path}") else Quoted(path)}
    if old not in _UNANSWERED:
        slots["before"] = _value(words, path, old)
    if new not in _UNANSWERED or "before" not in slots:
        slots["now"] = _value(words, path, new)
    message = "record.added" if "before" not in slots else "record.change" if "now" in slots else "record.taken-out"
    return words.say(message, **slots)


def _value(words: Words, path: str, value: Any) -> Said | Quoted:
    """``value`` as it is chosen on the form, or as it was typed."""
    asked = _asked(path)
    chosen = next((one.words for one in asked.choices if one.value == value), None) if asked else None
    return words.said(chosen) if chosen and words.has(chosen) else Quoted(_written(value))


def _asked(path: str) -> Field | None:
    try:
        return field(path)
    except (KeyError, StopIteration):
        return None


def _written(value: Any) -> str:
    """A value as people read it: a list as its members, a table as its values."""
    if isinstance(value, Mapping):
        return ", ".join(_written(inner) for inner in value.values())
    if isinstance(value, list):
        return "; ".join(map(_written, value))
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
