"""Entries of a case as they are read on a page: when, who, what, with the names and choices of the forms."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

from markupsafe import Markup

from consent.desk.entry_values import UNANSWERED, Values
from consent.desk.here import Visitor
from consent.desk.options import options
from consent.desk.typed import at
from consent.desk.words import Words
from consent.language import Quoted
from consent.record.patch import merge, paths
from consent.record.state import CaseState, Told
from consent.wording import remark

_NOT_TOLD = frozenset({"version", "figures_accepted.figures"})
"""What the record works out beside an entry."""


@dataclass(frozen=True)
class EntryLine:
    """One entry. ``what``: its kind; ``reason``: why, where one was given; ``changes``: what it changed."""

    when: Markup
    who: Markup
    what: Markup
    reason: tuple[Markup, ...]
    changes: tuple[Markup, ...]

    @property
    def lines(self) -> tuple[Markup, ...]:
        """Its reason, and what it changed."""
        return self.reason + self.changes


def entry_lines(here: Visitor, case: CaseState, places: Collection[int]) -> tuple[EntryLine, ...]:
    """The entries of ``case`` at ``places``, the newest first."""
    return tuple(line for told, line in reversed(list(told_lines(here, case))) if told.entry.sequence in places)


def told_lines(here: Visitor, case: CaseState) -> Iterator[tuple[Told, EntryLine]]:
    """Each entry of ``case`` with its line, the oldest first."""
    words, before = here.words, dict[str, Any]()
    values = Values(words, here.office.zone, options(here.office))
    for told in case.history:
        role = remark(f"record.role.{told.entry.role}")
        line = EntryLine(
            words.moment(told.entry.at, here.office.zone),
            words.say("record.person", name=Quoted(told.entry.person), role=role),
            words.say(f"record.kind.{told.entry.kind}"),
            tuple(_reason(words, told)),
            tuple(_changes(values, told, before)),
        )
        yield told, line
        before = merge(before, told.patch)


def _reason(words: Words, told: Told) -> Iterator[Markup]:
    if reason := told.details.get("reason"):
        yield words.say("record.reason", reason=Quoted(str(reason)))


def _changes(values: Values, told: Told, before: Mapping[str, Any]) -> Iterator[Markup]:
    """What changed; of a case just opened, all that is in it did."""
    for path in paths(told.patch) if told.entry.kind != "opened" else ():
        if path not in _NOT_TOLD:
            yield from _told(values, path, at(before, path), at(told.patch, path))


def _told(values: Values, path: str, old: Any, new: Any) -> Iterator[Markup]:
    """The lines that say how ``old`` became ``new``: of a table one for each question, of a list one for each row."""
    if isinstance(old, Mapping) and new is None:
        for key, inner in old.items():
            yield from _told(values, f"{path}.{key}", inner, None)
    elif isinstance(old, list) or isinstance(new, list):
        lists = (one if isinstance(one, list) else [] for one in (old, new))
        yield from _of_list(partial(_change, values, path), *lists)
    else:
        yield _change(values, path, old, new)


def _of_list(change: Any, old: list[Any], new: list[Any]) -> Iterator[Markup]:
    """Of a list, what is told is what was put in and what was taken out."""
    out, put = [one for one in old if one not in new], [one for one in new if one not in old]
    if any(isinstance(one, Mapping) for one in (*out, *put)) and not len(out) == len(put) == 1:
        yield from (change(one, None) for one in out)
        yield from (change(None, one) for one in put)
    else:
        alone = len(out) == len(put) == 1
        yield change(out[0], put[0]) if alone else change(out, put)


def _change(values: Values, path: str, old: Any, new: Any) -> Markup:
    slots: dict[str, object] = {"key": values.label(path, old if new in UNANSWERED else new)}
    if old not in UNANSWERED:
        slots["before"] = values.value(path, old)
    if new not in UNANSWERED or "before" not in slots:
        slots["now"] = values.value(path, new)
    message = "record.added" if "before" not in slots else "record.change" if "now" in slots else "record.taken-out"
    return values.words.say(message, **slots)
