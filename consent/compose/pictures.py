"""Drawings of our own, as SVG without any text: one line style, meaningful in black and white."""

from __future__ import annotations

from consent.case import Side

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


def eye_side(side: Side) -> str:
    """SVG of a face seen as in a mirror by the patient: the patient's right eye is on the right of the page.

    The eye to be operated is solid with a ring round it; the other one is an outline.
    """
    right_x, left_x = 82, 38
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
    "wash": "M20 70h60M28 70c0-14 8-22 22-22s22 8 22 22M50 14v14M40 20v8M60 20v8M34 34c4 4 28 4 32 0",
    "shake": "M38 30h24v46H38zM44 30v-8h12v8M20 36c-6 8-6 22 0 30M80 36c6 8 6 22 0 30",
    "head_back": "M30 78c-8-16-2-40 18-46c18-4 32 10 28 26M48 32l-10-14M76 58l8 6l-8 6M70 84H26M50 48l10-4",
    "pull_lid": "M18 46c14-18 50-18 64 0c-14 18-50 18-64 0zM50 38a9 9 0 1 0 .1 0M50 66v20M42 78l8 8l8-8",
    "one_drop": (
        "M18 66c14-16 50-16 64 0c-14 16-50 16-64 0zM50 58a8 8 0 1 0 .1 0"
        "M50 8c-8 12-10 16-10 20a10 10 0 0 0 20 0c0-4-2-8-10-20z"
    ),
    "close_press": "M16 52c14 16 54 16 68 0M26 60l-6 8M42 65l-3 9M60 65l3 9M76 60l6 8M14 30l8 14M8 40l10 6",
    "wait": "M50 16a36 36 0 1 0 .1 0M50 30v24l16 10",
    "ointment_last": "M24 74l8-44h24l8 44zM40 30v-12h8v12M72 74h14M79 62v12",
    "shield": (
        "M18 30c20-12 44-12 64 0c2 24-10 42-32 50c-22-8-34-26-32-50zM34 40h.1M50 40h.1M66 40h.1M42 54h.1"
        "M58 54h.1M50 66h.1"
    ),
    "phone": "M30 14h40v72H30zM44 78h12M38 24h24v44H38z",
    "sunrise": "M10 70h80M28 70a22 22 0 0 1 44 0M50 30V16M24 44l-8-8M76 44l8-8",
    "sun": ("M50 34a18 18 0 1 0 .1 0M50 20v-8M50 92v-8M22 52h-8M86 52h-8M30 32l-6-6M70 32l6-6M30 72l-6 6M70 72l6 6"),
    "sunset": "M10 70h80M28 70a22 22 0 0 1 44 0M20 82h60M50 18v16M42 28l8 8l8-8",
    "bed": (
        "M12 34v46M12 66h76v14M88 66V54H40v12M26 56a7 7 0 1 0 .1 0M62 24c-2 8 4 16 14 14c-4 8-20 6-22-4c0-6 4-10 8-10z"
    ),
}


def pictogram(name: str) -> str:
    """SVG of one of the small pictures; ``KeyError`` for a name there is no drawing for."""
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" class="picto" viewBox="0 0 100 100" fill="none" stroke="#111" '
        f'stroke-width="5" stroke-linecap="round" stroke-linejoin="round"><path d="{_STROKES[name]}"/></svg>'
    )


def pictogram_names() -> tuple[str, ...]:
    """Names of every small picture."""
    return tuple(_STROKES)
