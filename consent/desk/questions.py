"""Questions made ready for a page: label, help, unit, choices, what was answered, and what is wrong with it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

from markupsafe import Markup

from consent.desk.entry import Entered, shown
from consent.desk.fields import Field, optional_tables
from consent.desk.form import Sent
from consent.desk.screens import sent_with
from consent.desk.typed import is_removed, rows_of
from consent.desk.words import Words, interface_languages
from consent.language import languages
from consent.wording import Remark

Options = Mapping[str, tuple[tuple[str, str], ...]]
"""Closed lists that come from the clinic, such as its regimens: value and name, by the path of the question."""
Groups = Mapping[str, Mapping[str, str]]
"""Under which heading each choice of such a list stands: the id of the message, by path and value."""


@dataclass(frozen=True)
class Offered:
    """One choice of a question, whether it is chosen, and the heading under which it stands, where there are any."""

    value: str
    label: Markup
    chosen: bool
    group: Markup | None = None


@dataclass(frozen=True)
class Question:
    """One question as it is drawn. ``name``: under which the answer is sent; ``value``: text of a plain field;
    ``removed``: names of the rows that are ticked to be taken out."""

    field: Field
    name: str
    label: Markup
    help: Markup | None
    unit: Markup | None
    limits: Markup | None
    value: str
    values: tuple[str, ...]
    choices: tuple[Offered, ...]
    rows: tuple[tuple[Question, ...], ...]
    fault: Markup | None
    removed: frozenset[str] = frozenset()

    @property
    def group(self) -> str:
        """The questions that are kept together with it: those of a table that is there whole or not at all, and those
        that one of them alone would not agree with."""
        if self.name != self.field.path:
            return ""
        return self.table or sent_with(self.field.path)

    @property
    def table(self) -> str:
        """The table it is a part of, where that is there whole or not at all."""
        tables = (table for table in optional_tables() if self.field.path.startswith(f"{table}."))
        return max(tables, key=len, default="") if self.name == self.field.path else ""

    @property
    def wrong(self) -> tuple[Question, ...]:
        """Itself and the questions of its rows, as far as something is wrong with them."""
        inner = tuple(wrong for row in self.rows for one in row for wrong in one.wrong)
        return ((self,) if self.fault else ()) + inner

    @property
    def answered(self) -> bool:
        """Whether something was answered, or something is wrong with it."""
        default = str(self.field.default) if self.field.default is not None else ""
        return bool(self.fault or self.values or len(self.rows) > 1 or self.value not in ("", default))

    @property
    def id(self) -> str:
        """Its id on the page."""
        return f"q-{self.name.replace('.', '-')}"


@dataclass(frozen=True)
class Asking:
    """All that the questions of one page are made with. ``sent``: a form whose held back answers are shown again."""

    words: Words
    data: Mapping[str, Any]
    zone: ZoneInfo
    options: Options
    sent: Sent | None = None
    entered: Entered | None = None
    groups: Groups = field(default_factory=dict)

    def questions(self, fields: Iterable[Field]) -> tuple[Question, ...]:
        """Each of ``fields``, ready to be drawn."""
        return tuple(self._question(one, one.path, shown(self.data, one.path)) for one in fields)

    def faults_elsewhere(self, questions: Iterable[Question]) -> tuple[Markup, ...]:
        """What is wrong with the form and with none of ``questions``, such as an answer of another screen."""
        drawn = {wrong.name for one in questions for wrong in one.wrong}
        faults = self.entered.faults if self.entered else {}
        return tuple(self.words.say(one.id, **one.slots) for name, one in faults.items() if name not in drawn)

    def _question(self, asked: Field, name: str, value: Any) -> Question:
        words = self.words
        typed = self._typed(asked, name)
        text = typed if typed is not None else _text(asked, value, self.zone)
        return Question(
            asked,
            name,
            words.say(asked.words),
            words.say(asked.help) if words.has(asked.help) else None,
            words.say(asked.unit) if asked.unit else None,
            self._limits(asked),
            text,
            self._values(name, value) if asked.kind == "texts" else (),
            self._choices(asked, name, value, text),
            self._rows(asked, name, value),
            self._fault(name),
            self._removed(asked, name),
        )

    def _values(self, name: str, value: Any) -> tuple[str, ...]:
        """The texts or choices of a question that takes several, as they were sent where they could not be kept."""
        return self.sent.texts(name) if self.sent is not None and self._held(name) else tuple(value or ())

    def _typed(self, asked: Field, name: str) -> str | None:
        """What was typed and could not be kept."""
        if self.sent is None or not self._held(name) or asked.kind in ("several", "texts", "rows"):
            return None
        return self.sent.text(name)

    def _held(self, name: str) -> bool:
        """Whether what was answered under ``name`` could not be kept."""
        held = self.entered.held_back if self.entered else ()
        return any(name == path or name.startswith(f"{path}.") for path in held)

    def _fault(self, name: str) -> Markup | None:
        found: Remark | None = self.entered.faults.get(name) if self.entered else None
        return self.words.say(found.id, **found.slots) if found else None

    def _limits(self, asked: Field) -> Markup | None:
        if asked.low is None or asked.high is None or asked.kind not in ("number", "whole"):
            return None
        return self.words.say("field.limits", low=_plain(asked.low), high=_plain(asked.high))

    def _choices(self, asked: Field, name: str, value: Any, text: str) -> tuple[Offered, ...]:
        chosen = set(self._values(name, value)) if asked.kind == "several" else {text}
        heads = self.groups.get(asked.path, {})
        return tuple(
            Offered(one, label, one in chosen, self.words.say(heads[one]) if one in heads else None)
            for one, label in self._offered(asked, text)
        )

    def _offered(self, asked: Field, text: str) -> Iterable[tuple[str, Markup]]:
        if asked.kind == "language":
            names = {**dict.fromkeys(languages()), **dict.fromkeys(interface_languages())}
            return tuple((tag, _own_name(tag)) for tag in names)
        if asked.path in self.options:
            listed = self.options[asked.path]
            there = {one for one, _ in listed}
            # What the case says already stays to be chosen, if it is on no list.
            more = ((text, text),) if text and text not in there else ()
            return tuple((one, self.words.typed(label)) for one, label in (*listed, *more))
        return tuple((choice.value, self.words.say(choice.words)) for choice in asked.choices)

    def _rows(self, asked: Field, name: str, value: Any) -> tuple[tuple[Question, ...], ...]:
        """The rows there are, or those that were sent where they could not be kept, and an empty one to add to them."""
        if asked.kind != "rows":
            return ()
        rows: dict[int, Mapping[str, Any]] = dict(enumerate(value or ()))
        if self.sent is not None and self._held(name):
            rows = {place: {} for place in rows_of(self.sent, asked, name, self.zone, removed=True)}
        rows[max(rows, default=-1) + 1] = {}
        return tuple(
            tuple(self._question(inner, f"{name}.{place}.{inner.name}", row.get(inner.name)) for inner in asked.inner)
            for place, row in rows.items()
        )

    def _removed(self, asked: Field, name: str) -> frozenset[str]:
        if self.sent is None or asked.kind != "rows" or not self._held(name):
            return frozenset()
        there = rows_of(self.sent, asked, name, self.zone, removed=True)
        return frozenset(f"{name}.{place}" for place in there if is_removed(self.sent, name, place))


def _text(asked: Field, value: Any, zone: ZoneInfo) -> str:
    if value is None:
        # A choice that the case takes for granted is shown as chosen; other defaults are not put into the mouth.
        return str(asked.default) if asked.kind in ("answer", "choice") and asked.default is not None else ""
    if asked.kind == "tick":
        return "yes" if value else ""
    if asked.kind == "moment":
        return dt.datetime.fromisoformat(value).astimezone(zone).strftime("%Y-%m-%dT%H:%M")
    if asked.kind == "time":
        return str(value)[:5]
    return "" if isinstance(value, list) else str(value)


def _plain(limit: float) -> int | float:
    return int(limit) if limit == int(limit) else limit


def _own_name(tag: str) -> Markup:
    from babel import Locale

    return Markup.escape(str(Locale.parse(tag, sep="-").get_display_name(tag)))
