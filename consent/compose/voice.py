"""Says one thing in every language of a sheet at once."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from consent.compose.document import Line
from consent.language import Day, Quoted, Range, Said, Speaker, Tongue, Value, Verbatim, Year
from consent.wording import Remark


@dataclass(frozen=True)
class Listed:
    """Several remarks in one slot, with a sign between them."""

    items: tuple[Remark | Tongue, ...]
    between: str = ", "


def utter(speaker: Speaker, said: Remark) -> Said:
    """The words of ``said`` in the speaker's language. Raises ``LanguageError`` naming message and slot."""
    return speaker.say(said.id, **_values(speaker, said.slots))


def _values(speaker: Speaker, slots: Mapping[str, object]) -> dict[str, Value]:
    return {name: value_of(speaker, value) for name, value in slots.items()}


def value_of(speaker: Speaker, value: object) -> Value:
    """``value`` as the language room takes it: a remark is said, a float loses no digit, a text stays as entered."""
    if isinstance(value, Remark):
        return utter(speaker, value)
    if isinstance(value, Listed):
        pieces = [speaker.show(value_of(speaker, item)) for item in value.items]
        return Said(*(value.between.join(getattr(piece, form) for piece in pieces) for form in ("html", "plain")))
    if isinstance(value, float):
        return Decimal(f"{value:.10f}").normalize() + 0
    if isinstance(value, str):
        return Verbatim(value)
    if isinstance(value, int | Decimal | dt.date | dt.time | Said | Quoted | Range | Verbatim | Year | Day | Tongue):
        return value
    raise TypeError(f"a slot was given {type(value).__name__}")


def joined(lines: Iterable[Line], between: str = "; ") -> Line:
    """Lines joined with ``between``, language by language."""
    return tuple(
        Said(between.join(piece.html for piece in pieces), between.join(piece.plain for piece in pieces))
        for pieces in zip(*lines, strict=True)
    )


class Voice:
    """The languages of one sheet, the patient's first. Every method returns one ``Said`` per language."""

    def __init__(self, tags: tuple[str, ...], digits: str) -> None:
        self.speakers = tuple(Speaker(tag, "latin" if digits == "latin" else "locale") for tag in tags)
        self.tags = tags

    def line(self, message: str, /, **slots: object) -> Line:
        """The message with its slots, in every language."""
        return tuple(speaker.say(message, **_values(speaker, slots)) for speaker in self.speakers)

    def each(self, message: str, /, **lines: Line) -> Line:
        """The message with lines already said in its slots, language by language."""
        return tuple(
            speaker.say(message, **{slot: line[place] for slot, line in lines.items()})
            for place, speaker in enumerate(self.speakers)
        )

    def count(self, message: str, number: int, /, **slots: object) -> Line:
        """The message in the plural form of ``number``, in every language."""
        return tuple(speaker.say_count(message, number, **_values(speaker, slots)) for speaker in self.speakers)

    def remark(self, said: Remark) -> Line:
        """The remark, in every language."""
        return tuple(utter(speaker, said) for speaker in self.speakers)

    def show(self, value: object) -> Line:
        """A value by itself, in every language."""
        return tuple(speaker.show(value_of(speaker, value)) for speaker in self.speakers)

    def quoted(self, text: str) -> Line:
        """Text a person wrote, as entered; never markup."""
        return tuple(speaker.show(Quoted(text)) for speaker in self.speakers)

    def used(self) -> dict[str, frozenset[str]]:
        """Ids of the messages said so far, by language."""
        return {speaker.tag: frozenset(speaker.used) for speaker in self.speakers}
