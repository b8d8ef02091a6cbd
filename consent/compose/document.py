"""The tree a sheet is made of: sections of blocks, every word said, every place that answers an element anchored."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Literal

from consent.language import Said
from consent.review import Anchor

Line = tuple[Said, ...]
"""One thing said in every language of the sheet, in the order of the sheet's languages."""


@dataclass(frozen=True)
class Block:
    """Base of all blocks. ``elements`` are the ids of the profile's elements this block answers."""

    elements: tuple[str, ...] = field(default=(), kw_only=True)

    @property
    def kind(self) -> str:
        """Name of the template macro that draws the block."""
        return type(self).__name__.lower()


@dataclass(frozen=True)
class Para(Block):
    text: Line
    style: str = ""


@dataclass(frozen=True)
class Bullets(Block):
    items: tuple[Line, ...]


@dataclass(frozen=True)
class Facts(Block):
    """Label and value pairs."""

    rows: tuple[tuple[Line, Line], ...]


@dataclass(frozen=True)
class EyeBox(Block):
    """The eye in words and drawn, from the patient's side."""

    words: Line
    picture: str
    caption: Line


@dataclass(frozen=True)
class Array:
    """One icon array: ``svg`` holds no text; the caption under it holds the numbers."""

    svg: str
    caption: Line


@dataclass(frozen=True)
class Risk(Block):
    """One outcome: what it is, how often, what it means. ``arrays`` are separate drawings, usual eye first."""

    name: Line
    figures: tuple[Line, ...]
    means: Line
    counted_in: Line | None
    arrays: tuple[Array, ...] = ()


@dataclass(frozen=True)
class Choice(Block):
    """A thing to accept or refuse, each with a box big enough for a pen."""

    text: Line
    accept: Line
    refuse: Line


@dataclass(frozen=True)
class Question(Block):
    """A teach-back question with room for the answer in the patient's own words."""

    text: Line
    first_time: Line
    after_again: Line


@dataclass(frozen=True)
class Signature(Block):
    """A block a person can sign: who, what the signature means, and what is written beside it."""

    role: Line
    meaning: Line
    labels: tuple[Line, ...]
    name: Line | None = None
    thumb: Line | None = None


@dataclass(frozen=True)
class TickList(Block):
    """Statements with a yes and a no box."""

    rows: tuple[Line, ...]
    yes: Line
    no: Line


@dataclass(frozen=True)
class Warnings(Block):
    """Warning signs under the one action each maps to."""

    groups: tuple[tuple[str, Line, tuple[Line, ...]], ...]


@dataclass(frozen=True)
class Table(Block):
    """A plain table. ``style`` names its class in the style sheet."""

    head: tuple[Line, ...]
    rows: tuple[tuple[Line, ...], ...]
    style: str = ""


@dataclass(frozen=True)
class Steps(Block):
    """Numbered steps with a picture each."""

    items: tuple[tuple[str, Line], ...]


@dataclass(frozen=True)
class Blank(Block):
    """Lines to write on, under a label."""

    label: Line
    lines: int = 1


@dataclass(frozen=True)
class Pictures(Block):
    """Pictures in a row, each with its words under it."""

    items: tuple[tuple[str, Line], ...]
    style: str = ""


@dataclass(frozen=True)
class Code(Block):
    """A printed code for a telephone's camera, with its words."""

    svg: str
    caption: Line


@dataclass(frozen=True)
class Columns(Block):
    """Blocks side by side. ``style`` names their class in the style sheet."""

    left: tuple[Block, ...]
    right: tuple[Block, ...]
    style: str = ""


Paper = Literal["A4", "A5"]


@dataclass(frozen=True)
class Section:
    id: str
    heading: Line | None
    blocks: tuple[Block, ...]
    style: str = ""


@dataclass(frozen=True)
class Document:
    """One sheet, ready to be laid out."""

    sheet: str
    layout: str
    title: Line
    languages: tuple[tuple[str, str], ...]
    header: Line
    marks: tuple[Line, ...]
    page_label: Line
    sections: tuple[Section, ...]
    footer: Line | None = None
    large: bool = False
    paper: Paper = "A4"

    def lines(self) -> Iterator[tuple[str, Line]]:
        """Every line of the sheet with the id of its section."""
        for name in ("title", "header", "footer"):
            if getattr(self, name):
                yield name, getattr(self, name)
        for section in self.sections:
            for value in (section.heading, *section.blocks):
                yield from ((section.id, line) for line in _lines_in(value))

    def texts(self, without: frozenset[str] = frozenset()) -> Iterator[str]:
        """Every text of the sheet, in each language; ``without`` names sections left out."""
        for section, line in self.lines():
            if section in without:
                continue
            yield from (said.plain for said in line)

    def anchors(self) -> Iterator[Anchor]:
        """Where the composed sheet answers an element of the profile, with the text that does."""
        for section in self.sections:
            for block in section.blocks:
                text = " ".join(said.plain for line in _lines_in(block) for said in line)
                yield from (Anchor(element, text, self.sheet, section.id) for element in block.elements)


def _is_line(value: object) -> bool:
    return isinstance(value, tuple) and bool(value) and all(isinstance(item, Said) for item in value)


def _lines_in(value: object) -> Iterator[Line]:
    if _is_line(value):
        yield value  # type: ignore[misc]
    elif isinstance(value, tuple):
        for item in value:
            yield from _lines_in(item)
    elif is_dataclass(value) and not isinstance(value, Said):
        for entry in fields(value):
            yield from _lines_in(getattr(value, entry.name))
