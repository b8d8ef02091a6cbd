"""How a page speaks: the interface's own words, and those of the sheets where a page names the same thing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from functools import cache
from typing import Any

from markupsafe import Markup

from consent.case.part import shows_something
from consent.compose.voice import utter, value_of
from consent.language import (
    DESK_DOMAIN,
    Digits,
    Message,
    Quoted,
    Said,
    Speaker,
    Tongue,
    Value,
    inspect_catalogue,
    languages,
    load_catalogue,
)
from consent.wording import Remark


class Words:
    """Says messages of the pages and of the sheets in one language; the sheets' alone where that is all there is.

    ``mirrored``: laid out right to left.
    """

    def __init__(self, tag: str, digits: Digits = "locale", mirrored: bool = False) -> None:
        self.tag = tag
        self.sheets = Speaker(tag, digits)
        self.pages = Speaker(tag, digits, domain=DESK_DOMAIN) if tag in interface_languages() else self.sheets
        self.direction = "rtl" if mirrored else self.sheets.direction

    def said(self, message: str, /, **slots: object) -> Said:
        """The message, of the pages if it is one of theirs, else of the sheets; slots as the sheets take them.

        Text that somebody typed is given as ``Quoted`` and is never markup.
        """
        speaker = self.pages if message in _own(self.tag) else self.sheets
        return speaker.say(message, **self._values(speaker, slots))

    def say(self, message: str, /, **slots: object) -> Markup:
        """The message as HTML, ready for a template."""
        return Markup(self.said(message, **slots).html)  # noqa: S704  escaped where it was said

    def say_some(self, message: str, slots: Mapping[str, object]) -> Markup:
        """The message with those of ``slots`` that it has; nothing where there is no such message of the pages."""
        there = _own(self.tag).get(message)
        return self.say(message, **{name: slots[name] for name in there.slots}) if there else Markup()

    def plain(self, message: str, /, **slots: object) -> str:
        """The message as plain text, for attributes."""
        return self.said(message, **slots).plain

    def count(self, message: str, number: int, /, **slots: object) -> Markup:
        """The message in the plural form of ``number``."""
        speaker = self.pages if message in _own(self.tag) else self.sheets
        return Markup(speaker.say_count(message, number, **self._values(speaker, slots)).html)  # noqa: S704  escaped where it was said

    def _values(self, speaker: Speaker, slots: Mapping[str, object]) -> dict[str, Value]:
        """``slots`` as the language room takes them; a remark is said by whichever catalogue has it."""
        return {
            name: self.said(value.id, **value.slots) if isinstance(value, Remark) else value_of(speaker, _shown(value))
            for name, value in slots.items()
        }

    def remark(self, said: Remark) -> Markup:
        """A remark of the assessment, in words of the sheets."""
        return Markup(utter(self.sheets, said).html)  # noqa: S704  escaped where it was said

    def show(self, value: object) -> Markup:
        """A number, date or time by itself, as the language writes it."""
        return Markup(self.sheets.show(value_of(self.sheets, value)).html)  # noqa: S704  escaped where it was said

    def tongue(self, tag: str) -> Said:
        """The name of a language."""
        return self.sheets.show(Tongue(tag))

    def typed(self, text: str) -> Markup:
        """Text a person typed, in its own direction."""
        return Markup(self.sheets.show(_shown(Quoted(text))).html)  # noqa: S704  escaped where it was said

    def has(self, message: str) -> bool:
        """Whether there is such a message of the pages."""
        return message in _own(self.tag)

    def moment(self, at: dt.datetime, zone: dt.tzinfo) -> Markup:
        """Day and time on the clinic's clock."""
        local = at.astimezone(zone)
        return self.say("page.moment", date=local.date(), time=local.time().replace(second=0, microsecond=0))


def _shown(value: object) -> Any:
    """``value``; a dash for a text that shows nothing: no page is refused for what somebody typed long ago."""
    return Quoted("–") if isinstance(value, Quoted) and not shows_something(value.text) else value


@cache
def interface_languages() -> tuple[str, ...]:
    """Tags of the languages in which the pages can be read: those whose words are all there and sound."""
    return tuple(tag for tag in languages(domain=DESK_DOMAIN) if not inspect_catalogue(tag, None, DESK_DOMAIN)[1])


@cache
def words_in(tag: str, digits: Digits, mirrored: bool) -> Words:
    """One speaker for all pages in ``tag``."""
    return Words(tag, digits, mirrored)


@cache
def _own(tag: str) -> Mapping[str, Message]:
    """The messages of the pages by their ids; none in a language that only patients read."""
    return load_catalogue(tag, None, DESK_DOMAIN).messages if tag in interface_languages() else {}
