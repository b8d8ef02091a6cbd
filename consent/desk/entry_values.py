"""What an entry holds as people read it: choices and languages by name, days and times on the clinic's clock, units."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from consent.case.part import shows_something
from consent.compose.voice import value_of
from consent.desk.fields import Field, field
from consent.desk.questions import Options
from consent.desk.typed import NOTHING
from consent.desk.words import Words
from consent.language import Day, Quoted, Said, load_catalogue

Shown = Said | Quoted | Day | dt.date | dt.time | int | float
"""What fills a slot of a message."""
UNANSWERED: tuple[Any, ...] = (NOTHING, None, "unknown", "not asked", [])
"""What is no answer yet: what takes its place was entered, not changed."""
_YES_NO = {True: "choice.answer.yes", False: "choice.answer.no"}
_ANSWERS = "answers"
_NOTHING = Quoted("–")


@dataclass(frozen=True)
class Values:
    """How values are said. ``options``: names of what the clinic's own lists hold, by the path of the question."""

    words: Words
    zone: dt.tzinfo
    options: Options

    def label(self, path: str, value: Any = None) -> Said | Quoted:
        """What the question at ``path`` is called on the forms; of an answer to a point, what the point is called."""
        if path == _ANSWERS and isinstance(value, Mapping):
            return self._point(str(value.get("point", "")))
        asked = _asked(path)
        known = asked is not None and self.words.has(asked.words)
        return self.words.said(asked.words) if asked is not None and known else Quoted(path)

    def value(self, path: str, value: Any) -> Shown:
        """``value`` as it is chosen on the form, or as it was typed; several of them in a row."""
        asked = _asked(path)
        if isinstance(value, Mapping):
            return self._row(path, value)
        if isinstance(value, list):
            return self._in_a_row(self.value(path, one) for one in value)
        if value is None or value == "":
            return _NOTHING
        return self._measured(asked, self._one(asked, path, value))

    def _one(self, asked: Field | None, path: str, value: Any) -> Shown:
        chosen = next((one.words for one in asked.choices if one.value == value), None) if asked else None
        if chosen and self.words.has(chosen):
            return self.words.said(chosen)
        if isinstance(value, bool):
            return self.words.said(_YES_NO[value])
        if isinstance(value, int | float):
            return value
        text = str(value)
        named = dict(self.options.get(path, ()))
        return Quoted(named[text]) if text in named else self._read(asked, text)

    def _read(self, asked: Field | None, text: str) -> Shown:
        """A text as what its question asks for: a language, a day, a time, a moment."""
        if asked is None:
            return Quoted(text)
        if asked.kind == "language":
            return self.words.tongue(text)
        try:
            if asked.kind == "date":
                day = dt.date.fromisoformat(text)
                return Day(day, "long") if asked.name == "birth_date" else day
            if asked.kind == "time":
                return _minute(dt.time.fromisoformat(text))
            if asked.kind == "moment":
                local = dt.datetime.fromisoformat(text).astimezone(self.zone)
                return self.words.said("page.moment", date=local.date(), time=_minute(local.time()))
        except ValueError:
            pass
        return Quoted(text)

    def _measured(self, asked: Field | None, shown: Shown) -> Shown:
        """A number with the unit of its question, where it has one."""
        number = isinstance(shown, int | float) and not isinstance(shown, bool)
        if number and asked is not None and asked.unit:
            return self.words.said("entry.measured", value=shown, unit=self.words.said(asked.unit))
        return shown

    def _row(self, path: str, row: Mapping[str, Any]) -> Shown:
        """One row of a form: each thing that was answered, after what it is called; of an answer to a point, why."""
        if path == _ANSWERS:
            return Quoted(str(row.get("why", "")))
        return self._in_a_row(
            self.words.said("record.detail", name=self.label(f"{path}.{key}"), value=self.value(f"{path}.{key}", value))
            for key, value in row.items()
            if value not in UNANSWERED
        )

    def _point(self, point: str) -> Said | Quoted:
        """What the point ``point`` is called on the sheets; those of the drop checks are called after their finding."""
        known = load_catalogue(self.words.tag).messages
        for name in (f"point.{point}.title", f"finding.{point.removeprefix('drops.')}.title"):
            if name in known and not known[name].slots:
                return self.words.said(name)
        return Quoted(point)

    def _in_a_row(self, values: Iterator[Shown]) -> Said:
        pieces = [self._said(one) for one in values] or [self._said(_NOTHING)]
        return Said("; ".join(one.html for one in pieces), "; ".join(one.plain for one in pieces))

    def _said(self, value: Shown) -> Said:
        shows = not isinstance(value, Quoted) or shows_something(value.text)
        speaker = self.words.sheets
        return speaker.show(value_of(speaker, value if shows else _NOTHING))


def _asked(path: str) -> Field | None:
    try:
        return field(path)
    except (KeyError, StopIteration):
        return None


def _minute(at: dt.time) -> dt.time:
    return at.replace(second=0, microsecond=0, tzinfo=None)
