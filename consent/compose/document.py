"""The tree a sheet is made of: sections of blocks, every word said, every place that answers an element anchored."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields, is_dataclass, replace
from typing import Any, Literal

from consent.language import Said, has_wide_words
from consent.review import Anchor

Line = tuple[Said, ...]
"""One thing said in every language of the sheet, in the order of the sheet's languages."""


@dataclass(frozen=True)
class Spot:
    """One line within a block, and the elements it answers. A line that says nothing answers nothing."""

    line: Line
    elements: tuple[str, ...]


@dataclass(frozen=True)
class Block:
    """Base of all blocks. ``elements`` are the elements of a profile, or parts of one such as ``ST-03:mind``, that the
    whole block answers; ``spots`` those answered by one line of it."""

    elements: tuple[str, ...] = field(default=(), kw_only=True)
    spots: tuple[Spot, ...] = field(default=(), kw_only=True)

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
    """The eye in words and drawn, and whom to call: at the head of every sheet."""

    words: Line
    picture: str
    caption: Line
    telephone: Line


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
    because: Line | None = None
    arrays: tuple[Array, ...] = ()


@dataclass(frozen=True)
class Chances(Block):
    """Outcomes as the rows of a table: the name, then people of the whole for the usual eye and for this eye.

    A row with one figure says it of both.
    """

    head: tuple[Line, Line, Line]
    rows: tuple[tuple[Line, ...], ...]


@dataclass(frozen=True)
class Way(Block):
    """One of the ways open to the patient: its name, and labelled lines, below it or run on."""

    name: Line
    lines: tuple[tuple[Line, Line], ...]
    style: str = ""


@dataclass(frozen=True)
class Choice(Block):
    """A thing to accept or refuse, each with a box big enough for a pen."""

    text: Line
    accept: Line
    refuse: Line


@dataclass(frozen=True)
class Question(Block):
    """A question to be answered in the patient's own words, its key answer, and boxes for how it went."""

    text: Line
    key_label: Line
    key: Line
    words: Line
    boxes: tuple[Line, ...]


@dataclass(frozen=True)
class Cue(Block):
    """One line of a spoken guide: whether it is said, shown, asked or noted, and what."""

    mark: str
    label: Line
    texts: tuple[Line, ...]


@dataclass(frozen=True)
class Boxes(Block):
    """A label and boxes to tick beside it."""

    label: Line
    boxes: tuple[Line, ...]


@dataclass(frozen=True)
class Signature(Block):
    """A block a person can sign: who, what the signature means, and what is written beside it."""

    role: Line
    meaning: Line
    labels: tuple[Line, ...]
    filled: tuple[Line | None, ...] = ()
    name: Line | None = None
    thumb: Line | None = None


@dataclass(frozen=True)
class TickList(Block):
    """Statements with a yes and a no box."""

    rows: tuple[Line, ...]
    yes: Line
    no: Line


@dataclass(frozen=True)
class WarningGroup:
    """One action, line by line, and the signs it is for: those with a picture first, each with its words under it."""

    name: str
    action: tuple[Line, ...]
    drawn: tuple[tuple[str, Line], ...]
    signs: tuple[Line, ...]


@dataclass(frozen=True)
class Warnings(Block):
    """Warning signs under the one action each maps to."""

    groups: tuple[WarningGroup, ...]


@dataclass(frozen=True)
class PicturedList(Block):
    """Lines with a picture before each."""

    items: tuple[tuple[str, Line], ...]


@dataclass(frozen=True)
class PicturedTable(Block):
    """A table of two columns with a picture before each row."""

    head: tuple[Line, Line]
    rows: tuple[tuple[str, Line, Line], ...]
    style: str = ""


@dataclass(frozen=True)
class Room(Block):
    """An empty frame for something to be stuck on, with its words."""

    label: Line


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
_HEAD_CHARACTERS = 88
"""Signs of the running head that fit one line of A4 in its usual size."""


@dataclass(frozen=True)
class PageCode:
    """What stands in the head of every page of sealed paper: ``text`` as a code to scan, ``short`` to be read aloud."""

    text: str
    short: tuple[str, str]
    svg: str


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
    title_elements: tuple[str, ...] = ()
    code: PageCode | None = None

    @property
    def long_head(self) -> bool:
        """Whether the running head does not fit one line in its usual size."""
        return len(self.header[0].plain) > _HEAD_CHARACTERS

    @property
    def wide_words(self) -> bool:
        """Whether words of the first language need wider columns than others'."""
        return has_wide_words(self.languages[0][0])

    def lines(self) -> Iterator[tuple[str, Line]]:
        """Every line of the sheet with the id of its section."""
        for name in ("title", "header", "footer"):
            if getattr(self, name):
                yield name, getattr(self, name)
        for section in self.sections:
            for value in (section.heading, *section.blocks):
                yield from ((section.id, line) for line in lines_in(value))

    def texts(self) -> Iterator[str]:
        """Every text of the sheet, in each language."""
        for _, line in self.lines():
            yield from (said.plain for said in line)

    def anchors(self) -> Iterator[Anchor]:
        """Where the composed sheet answers an element of the profile, with the text that does."""
        for section in self.sections:
            for block in _flat(section.blocks):
                lines = tuple(lines_in(block))
                yield from (self._anchor(element, lines, section.id) for element in block.elements)
                for spot in block.spots:
                    yield from (self._anchor(element, (spot.line,), section.id) for element in spot.elements)
        yield from (self._anchor(element, (self.title,), "title") for element in self.title_elements)

    def _anchor(self, element: str, lines: tuple[Line, ...], section: str) -> Anchor:
        name, _, part = element.partition(":")
        tags = [tag for tag, _ in self.languages]
        texts = {tag: " ".join(line[place].plain for line in lines) for place, tag in enumerate(tags)}
        return Anchor(name, part, texts, self.sheet, section)

    def in_language(self, place: int) -> Document:
        """The same sheet in one of its languages alone."""
        one: Document = _only(self, place)
        return replace(one, languages=(self.languages[place],))

    def texts_by_language(self) -> dict[str, tuple[str, ...]]:
        """Every text of the sheet by language tag."""
        lines = [line for _, line in self.lines()]
        return {tag: tuple(line[place].plain for line in lines) for place, (tag, _) in enumerate(self.languages)}


def _flat(blocks: tuple[Block, ...]) -> Iterator[Block]:
    """``blocks`` in reading order, with those that stand side by side."""
    for block in blocks:
        yield block
        if isinstance(block, Columns):
            yield from _flat((*block.left, *block.right))


def _is_line(value: object) -> bool:
    return isinstance(value, tuple) and bool(value) and all(isinstance(item, Said) for item in value)


def _only(value: Any, place: int) -> Any:
    """``value`` with each line in one language."""
    if _is_line(value):
        return (value[place],)
    if isinstance(value, tuple):
        return tuple(_only(item, place) for item in value)
    if is_dataclass(value) and not isinstance(value, Said | type):
        found = {entry.name: _only(getattr(value, entry.name), place) for entry in fields(value)}
        return replace(value, **found)
    return value


def lines_in(value: object) -> Iterator[Line]:
    """Every line within a block, or within any part of a sheet, in the order of its fields."""
    if _is_line(value):
        yield value  # type: ignore[misc]
    elif isinstance(value, tuple):
        for item in value:
            yield from lines_in(item)
    elif is_dataclass(value) and not isinstance(value, Said):
        for entry in fields(value):
            if entry.name != "spots":
                yield from lines_in(getattr(value, entry.name))
