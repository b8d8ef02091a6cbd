"""The face of the room: says a message in a language, with its slots filled by code."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, time
from decimal import Decimal
from functools import cache
from html import escape
from pathlib import Path

from consent.errors import LanguageError, Problem
from consent.language.catalogue import SHEETS_DOMAIN, Catalogue, load_catalogue
from consent.language.dates import clock, clock_with_day_part, written_date
from consent.language.isolation import (
    PDI,
    RLI,
    has_rtl,
    isolate_html,
    isolate_plain,
    isolate_runs_html,
    isolate_runs_plain,
    starts_rtl,
    tame,
)
from consent.language.numbers import Digits, numerals
from consent.language.plurals import plural_index
from consent.language.po import Message
from consent.language.segments import Kind, Part, Piece, assemble, compile_text, sealed_run
from consent.language.tags import Direction, direction, locale_of
from consent.language.values import Day, DayPart, Quoted, Range, Said, Tongue, Value, Verbatim, Year


class _Phrasebook:
    """A catalogue with its messages cut into parts the first time they are said; shared by all speakers."""

    def __init__(self, tag: str, directory: Path | None, domain: str) -> None:
        self.catalogue: Catalogue = load_catalogue(tag, directory, domain)
        self._rtl = direction(tag) == "rtl"
        self._parts: dict[tuple[str, int], tuple[Part, ...]] = {}
        self._static: dict[str, Said] = {}

    def parts(self, message: Message, form: int) -> tuple[Part, ...]:
        key = (message.id, form)
        found = self._parts.get(key)
        if found is None:
            found = self._parts[key] = compile_text(message.forms[form], rtl=self._rtl)
        return found

    def static(self, message: Message) -> Said:
        """A message without slots or plural forms, joined once."""
        found = self._static.get(message.id)
        if found is None:
            pieces = [part for part in self.parts(message, 0) if isinstance(part, Piece)]
            found = self._static[message.id] = assemble(pieces, rtl=self._rtl)
        return found


@cache
def _phrasebook(tag: str, directory: Path | None, domain: str) -> _Phrasebook:
    return _Phrasebook(tag, directory, domain)


class Speaker:
    """Says messages in one language with one choice of digits, and keeps in ``used`` the ids it has said."""

    def __init__(
        self, tag: str, digits: Digits = "locale", directory: Path | None = None, domain: str = SHEETS_DOMAIN
    ) -> None:
        self.tag = tag
        self.digits: Digits = digits
        self.direction: Direction = direction(tag)
        self.used: set[str] = set()
        self._rtl = self.direction == "rtl"
        self._book = _phrasebook(tag, directory, domain)
        self._numerals = numerals(tag, digits)

    def say(self, message_id: str, /, **slots: Value) -> Said:
        """A message with its slots filled. LanguageError for an unknown id, a slot too many, too few or of no known
        kind, or a message that needs a count."""
        message = self._book.catalogue.message(message_id)
        if message.plural:
            raise self._error(message, "has plural forms and needs a count", "call say_count")
        return self._said(message, 0, slots)

    def say_count(self, message_id: str, count: int, /, **slots: Value) -> Said:
        """A message in the plural form of ``count``, which also fills the slot ``{count}`` unless given."""
        message = self._book.catalogue.message(message_id)
        if not message.plural:
            raise self._error(message, "has no plural forms", "call say, or give the message plural forms")
        if "count" in message.slots:
            slots.setdefault("count", count)
        return self._said(message, plural_index(self.tag, count), slots)

    def show(self, value: Value) -> Said:
        """One value by itself, as it would stand in a slot: for cells of tables and labels of pictures."""
        return assemble([self._piece(value)], rtl=self._rtl)

    def _said(self, message: Message, form: int, slots: Mapping[str, Value]) -> Said:
        self.used.add(message.id)
        if slots.keys() != message.slots:
            raise self._slot_error(message, slots)
        if not slots and not message.plural:
            return self._book.static(message)
        try:
            filled = {name: self._piece(value) for name, value in slots.items()}
        except LanguageError as error:
            raise self._error(message, error.problems[0].what, error.problems[0].remedy) from None
        parts = self._book.parts(message, form)
        return assemble([filled[part] if isinstance(part, str) else part for part in parts], rtl=self._rtl)

    def _piece(self, value: Value) -> Piece:
        if isinstance(value, Said):
            return Piece(Kind.SEALED, value.html, value.plain)
        if isinstance(value, Quoted):
            return _quoted(_filled(value.text), rtl=self._rtl)
        if isinstance(value, Verbatim):
            text = _filled(value.text)
            return sealed_run(text) if self._rtl else Piece(Kind.SEALED, escape(text), text)
        if isinstance(value, (date, Day)):
            return self._date_piece(value if isinstance(value, Day) else Day(value, "full"))
        if isinstance(value, Tongue):
            return self._tongue(value.tag)
        if isinstance(value, DayPart):
            return self._words(clock_with_day_part(value.moment, self.tag, self.digits))
        text = self._number_text(value)
        return Piece(Kind.RUN, text, text)

    def _number_text(self, value: int | Decimal | time | Range | Year) -> str:
        if isinstance(value, (int, Decimal)) and not isinstance(value, bool):
            return self._numerals.number(value)
        if isinstance(value, Range):
            return self._numerals.between(value.low, value.high)
        if isinstance(value, time):
            return clock(value, self.tag, self.digits)
        if isinstance(value, Year):
            return self._numerals.ungrouped(value.number)
        raise LanguageError(
            Problem(
                what=f"a slot was given {type(value).__name__} {value!r}",
                where=f"slot in {self.tag}",
                remedy="give a number, date, time, Range, Year, Day, DayPart, Tongue, Verbatim, Quoted or Said",
            )
        )

    def _date_piece(self, value: Day) -> Piece:
        if isinstance(value.day, datetime):
            raise LanguageError(
                Problem(what="a slot was given a date with a time", where="slot", remedy="use one slot for each")
            )
        return self._words(written_date(value.day, self.tag, self.digits, value.style))

    def _tongue(self, tag: str) -> Piece:
        own = f"language.{tag}"
        if own in self._book.catalogue.messages:
            return self._piece(self.say(own))
        return self._words(locale_of(tag).get_display_name(locale_of(self.tag)) or tag)

    def _words(self, text: str) -> Piece:
        if self._rtl:
            return Piece(Kind.SEALED, isolate_runs_html(text), isolate_runs_plain(text))
        return Piece(Kind.WORDS, escape(text), text)

    def _slot_error(self, message: Message, slots: Mapping[str, Value]) -> LanguageError:
        missing = ", ".join(sorted(message.slots - slots.keys()))
        unknown = ", ".join(sorted(slots.keys() - message.slots))
        parts = [f"slot missing: {missing}"] * bool(missing) + [f"slot unknown: {unknown}"] * bool(unknown)
        return self._error(message, "; ".join(parts))

    def _error(self, message: Message, what: str, remedy: str = "") -> LanguageError:
        where = f'{self._book.catalogue.path}, message "{message.id}"'
        return LanguageError(Problem(what=f"{self.tag}: {what}", where=where, remedy=remedy))


def _filled(text: str) -> str:
    tamed = tame(text).strip()
    if not tamed:
        raise LanguageError(Problem(what="a slot was given an empty text", where="slot", why="a hole would be printed"))
    return tamed


def _quoted(text: str, *, rtl: bool) -> Piece:
    """Text a person wrote, kept in its own direction inside the words of the sheet."""
    if not rtl and not has_rtl(text):
        return Piece(Kind.SEALED, escape(text), text)
    if not starts_rtl(text):
        return Piece(Kind.SEALED, isolate_html(text), isolate_plain(text))
    html = f'<bdi dir="rtl">{isolate_runs_html(text)}</bdi>'
    return Piece(Kind.SEALED, html, f"{RLI}{isolate_runs_plain(text)}{PDI}")
