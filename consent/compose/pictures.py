"""Drawings of our own, as SVG without any text: one line style, meaningful in black and white."""

from __future__ import annotations

from functools import cache
from html import escape

from consent.case import Side
from consent.case.part import Part
from consent.case.reading import read_model
from consent.errors import ConsentError
from consent.resources import package_data

ACROSS = 50
DOWN = 20
WHOLE = ACROSS * DOWN
_PITCH = 10
_INK, _PALE = "#111", "#cfcfcf"


def icon_array(filled: int, could_be: int | None = None) -> str:
    """SVG of one block of 1000 dots, 50 across and 20 down, filled row by row from the top left corner.

    ``filled`` dots are solid; dots after them up to ``could_be`` are rings; the rest are pale. One dashed stroke
    per run of dots: a round cap on a dash of no length is a dot. Raises ``ValueError`` outside 0..1000.
    """
    upper = filled if could_be is None else could_be
    if not 0 <= filled <= upper <= WHOLE:
        raise ValueError(f"{filled} to {upper} is not within 0 to {WHOLE}")
    strokes = [
        _dots(0, filled, 7.2, _INK),
        _dots(filled, upper, 7.2, _INK),
        _dots(filled, upper, 4.2, "#fff"),
        _dots(upper, WHOLE, 5.2, _PALE),
    ]
    size = f'viewBox="0 0 {ACROSS * _PITCH} {DOWN * _PITCH}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" class="array" {size}>{"".join(strokes)}</svg>'


def titled(svg: str, words: str) -> str:
    """``svg`` with ``words`` as the text that stands for it where it cannot be seen; one that has such words stays."""
    opening, bracket, rest = svg.partition(">")
    return svg if rest.startswith("<title>") else f"{opening}{bracket}<title>{escape(words)}</title>{rest}"


def _dots(start: int, end: int, width: float, colour: str) -> str:
    if start >= end:
        return ""
    runs = []
    first_row, last_row = start // ACROSS, (end - 1) // ACROSS
    for row in range(first_row, last_row + 1):
        left = start % ACROSS if row == first_row else 0
        right = (end - 1) % ACROSS if row == last_row else ACROSS - 1
        y = row * _PITCH + _PITCH / 2
        x = left * _PITCH + _PITCH / 2
        runs.append(f"M{x:g} {y:g}h{(right - left) * _PITCH + 0.1:g}")
    style = f'stroke="{colour}" stroke-width="{width:g}" stroke-linecap="round" stroke-dasharray="0 {_PITCH}"'
    return f'<path d="{"".join(runs)}" fill="none" {style}/>'


def eye_side(side: Side, from_in_front: bool = False) -> str:
    """SVG of a face seen as in a mirror by the patient: the patient's right eye is on the right of the page.

    ``from_in_front``: as a helper who faces the patient sees it, the patient's right eye on the left of the page.
    The eye to be operated is solid with a ring round it; the other one is an outline.
    """
    right_x, left_x = (38, 82) if from_in_front else (82, 38)
    chosen, other = (right_x, left_x) if side is Side.RIGHT else (left_x, right_x)
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" class="face" viewBox="0 0 120 130" fill="none" stroke="#111" '
        'stroke-width="3" stroke-linecap="round">'
        '<path d="M60 6C24 6 12 36 14 66c2 34 22 58 46 58s44-24 46-58C108 36 96 6 60 6z"/>'
        '<path d="M60 66v16c0 4-3 6-7 6M46 104c8 6 20 6 28 0"/>'
        f'<path d="M{other - 12} 56c6-8 18-8 24 0c-6 8-18 8-24 0z"/><circle cx="{other}" cy="56" r="3.5"/>'
        f'<circle cx="{chosen}" cy="56" r="20" stroke-width="4"/>'
        f'<path d="M{chosen - 13} 56c6-9 20-9 26 0c-6 9-20 9-26 0z" fill="#111"/>'
        f'<circle cx="{chosen}" cy="56" r="4" fill="#fff" stroke="none"/>'
        "</svg>"
    )


_STROKES = {
    "wash": (
        "M24 22h30c12 0 18 6 18 16v6M62 44h20M24 14v16M72 52v5M64 60v5M80 60v5"
        "M16 76c8-8 18-8 28-4l22 4c8 2 8 8 0 8H40M16 90h46c12 0 20-6 26-14"
    ),
    "shake": "M38 30h24v46H38zM44 30v-8h12v8M20 36c-6 8-6 22 0 30M80 36c6 8 6 22 0 30",
    "head_back": (
        "M10 72h80M16 72v12M84 72v12M12 64c0-8 6-12 14-10"
        "M34 50a10 10 0 1 0 .1 0M46 66c12-8 26-8 38 0M34 14c-5 7-7 10-7 14a7 7 0 0 0 14 0c0-4-2-7-7-14z"
    ),
    "pull_lid": (
        "M16 42c14-18 50-18 64 0c-14 18-50 18-64 0zM48 34a8 8 0 1 0 .1 0M22 58c14 14 40 14 52 0M48 92V72M40 80l8 8l8-8"
    ),
    "one_drop": (
        "M18 66c14-16 50-16 64 0c-14 16-50 16-64 0zM50 58a8 8 0 1 0 .1 0"
        "M50 8c-8 12-10 16-10 20a10 10 0 0 0 20 0c0-4-2-8-10-20z"
    ),
    "close_press": (
        "M14 48c16 18 48 18 62 0M24 60l-5 8M38 66l-3 9M54 66l3 9M92 20L76 44M84 14L70 38c-2 4 0 8 4 8M92 20c0-6-4-8-8-6"
    ),
    "wait": "M50 16a36 36 0 1 0 .1 0M50 30v24l16 10",
    "visit": "M12 44L50 16l38 28M20 40v46h60V40M32 62c9-12 27-12 36 0c-9 12-27 12-36 0zM50 57a5 5 0 1 0 .1 0",
    "open_bottle": "M34 94V56c0-7 8-7 8-14h16c0 7 8 7 8 14v38zM44 30l22-10l-6-12l-22 10zM78 48v14M71 55h14",
    "stop": "M50 12a38 38 0 1 0 .1 0M23 23l54 54",
    "pause": "M50 12a38 38 0 1 0 .1 0M40 34v32M60 34v32",
    "ointment_last": "M30 8h40M34 8l5 50h22l5-50M43 58v12h14V58M14 86c14-14 58-14 72 0",
    "pad": (
        "M28 26h44a8 8 0 0 1 8 8v32a8 8 0 0 1-8 8H28a8 8 0 0 1-8-8V34a8 8 0 0 1 8-8z"
        "M20 36L6 26M80 36l14-10M20 64L6 74M80 64l14 10M36 50h28M50 36v28"
    ),
    "question": "M34 36c0-10 7-16 16-16s16 6 16 15c0 12-16 12-16 25M50 78h.1",
}


class _Strokes(Part):
    """One small picture: pieces of a stroked path, and of a filled one painted last."""

    lines: tuple[str, ...]
    solid: tuple[str, ...] = ()


class _Drawn(Part):
    """The whole of picture_strokes.toml."""

    pictograms: dict[str, _Strokes]
    diagrams: dict[str, tuple[str, ...]]


@cache
def _drawn() -> _Drawn:
    return read_model(package_data("compose", "picture_strokes.toml"), _Drawn, ConsentError)


_SIDED = frozenset({"lid_swollen", "shield", "rub", "pain"})
"""Pictures of a face whose ill eye is drawn on the right of the page."""


def pictogram(name: str, on_left: bool = False, crossed: bool = False) -> str:
    """SVG of one of the small pictures; ``KeyError`` for a name there is no drawing for.

    ``on_left`` turns a face round, so that its ill eye is on the left of the page; ``crossed`` strikes the picture out.
    """
    drawn = _Strokes(lines=(_STROKES[name],)) if name in _STROKES else _drawn().pictograms[name]
    inner = f'<path d="{"".join(drawn.lines)}"/>'
    if drawn.solid:
        inner += f'<path d="{"".join(drawn.solid)}" fill="#111" fill-rule="evenodd" stroke="none"/>'
    if on_left and name in _SIDED:
        inner = f'<g transform="matrix(-1 0 0 1 100 0)">{inner}</g>'
    if crossed:
        inner += '<path d="M8 8L92 92" stroke="#fff" stroke-width="13"/><path d="M8 8L92 92" stroke-width="6"/>'
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" class="picto" viewBox="0 0 100 100" fill="none" stroke="#111" '
        f'stroke-width="5" stroke-linecap="round" stroke-linejoin="round">{inner}</svg>'
    )


def diagram(name: str) -> str:
    """SVG of one of the drawings of the eye; ``KeyError`` for a name there is no drawing for."""
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" class="diagram" viewBox="0 0 200 140" fill="none" stroke="#111" '
        f'stroke-width="4" stroke-linecap="round" stroke-linejoin="round">{"".join(_drawn().diagrams[name])}</svg>'
    )


def pictogram_names() -> tuple[str, ...]:
    """Names of every small picture."""
    return (*_STROKES, *_drawn().pictograms)


def diagram_names() -> tuple[str, ...]:
    """Names of every drawing of the eye."""
    return tuple(_drawn().diagrams)
