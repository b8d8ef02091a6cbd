"""Drawings of the drop calendar, SVG without text: the sun over the day, the stairs of a taper, a bottle, its cap."""

from __future__ import annotations

import datetime as dt
import math

from consent.case import CapColour
from consent.drops import Landmark, Moment

_SUNRISE_HOUR = 6
_INK = "#111"
_MOON = "M62 14c-3 12 6 22 18 20c-5 12-26 12-30-4c-2-8 4-15 12-16z"
_BED = "M10 52v40M10 76h80v16M90 76V62H38v14M24 60a7 7 0 1 0 .1 0"
_BOWL = "M32 80h36c0 9-8 15-18 15s-18-6-18-15z"
_SHAKING = "M16 42c-7 12-7 30 0 42M84 42c7 12 7 30 0 42"
_MEALS = (Landmark.BREAKFAST, Landmark.MIDDAY_MEAL, Landmark.EVENING_MEAL)
_PAINT = {
    CapColour.WHITE: "#fff",
    CapColour.BLACK: "#111",
    CapColour.GREY: "#999",
    CapColour.BROWN: "#7a4a21",
    CapColour.RED: "#d22",
    CapColour.PINK: "#f49ac1",
    CapColour.ORANGE: "#f58220",
    CapColour.YELLOW: "#ffd400",
    CapColour.GREEN: "#2a9d3a",
    CapColour.TURQUOISE: "#30b8b8",
    CapColour.BLUE: "#1f5fbf",
    CapColour.PURPLE: "#7b3fa0",
}


def time_of_day(moment: Moment, sunset: dt.time) -> str:
    """SVG of where the sun stands at ``moment``, rising on the left; after ``sunset`` the moon, a bed at bedtime.

    A bowl below the horizon is a meal. Drawn in lines, so that a grey print loses nothing.
    """
    night = moment.at > sunset and moment.landmark is not Landmark.SUNSET
    meal = f'<path d="{_BOWL}"/>' if moment.exact and moment.landmark in _MEALS else ""
    if moment.exact and moment.landmark is Landmark.BED:
        inner = f'<path d="{_MOON}{_BED}"/>'
    elif night:
        inner = f'<path d="M6 72h88{_MOON}"/><path d="M24 26h.1M36 44h.1M84 56h.1" stroke-width="7"/>{meal}'
    else:
        inner = '<path d="M6 72h88"/><path d="M12 72a38 38 0 0 1 76 0" stroke-width="2" stroke-dasharray="2 6"/>'
        inner += _sun(moment.at, sunset) + meal
    return _svg("daytime", "0 0 100 100", f'stroke="{_INK}" stroke-width="5"', inner)


def _sun(at: dt.time, sunset: dt.time) -> str:
    start, end = _SUNRISE_HOUR * 60, sunset.hour * 60 + sunset.minute
    share = min(1.0, max(0.0, (at.hour * 60 + at.minute - start) / (end - start)))
    angle = math.pi * (1 - share)
    x, y = 50 + 38 * math.cos(angle), 72 - 38 * math.sin(angle)
    x = min(84.0, max(16.0, x))
    turns = [(math.cos(math.pi * eighth / 4), math.sin(math.pi * eighth / 4)) for eighth in range(8)]
    rays = "".join(
        f"M{x + 15 * right:.1f} {y + 15 * down:.1f}l{7 * right:.1f} {7 * down:.1f}"
        for right, down in turns
        if y + 22 * down < 72
    )
    if y > 62:
        return f'<path d="M{x - 11:.1f} 72a11 11 0 0 1 22 0z" fill="{_INK}"/><path d="{rays}" stroke-width="4"/>'
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="10" fill="{_INK}"/><path d="{rays}" stroke-width="4"/>'


def stair(times: int, most: int) -> str:
    """SVG of one step of a taper: ``times`` blocks on each other, at the foot of a column ``most`` blocks high."""
    blocks = "".join(f"M2 {10 * (most - block) + 5}h56" for block in range(1, times + 1))
    return _svg("stair", f"0 0 60 {10 * most}", f'stroke="{_INK}" stroke-width="8"', f'<path d="{blocks}"/>', "butt")


def bottle(cap: CapColour | None = None, ointment: bool = False, shake: bool = False) -> str:
    """SVG of a bottle or tube, its cap in the colour seen; an empty cap to be coloured in where none was noted.

    With ``shake`` the bottle has the strokes of shaking on either side.
    """
    paint = _PAINT[cap] if cap else "#fff"
    dashed = "" if cap else ' stroke-dasharray="3 5"'
    if ointment:
        body, top = "M32 12h36l-6 58H38z", "M42 74h16v18H42z"
    else:
        body, top = "M30 94V50c0-8 8-8 8-16h24c0 8 8 8 8 16v44z", "M38 30V8h24v22z"
    return _svg(
        "bottle",
        "0 0 100 100",
        f'stroke="{_INK}" stroke-width="4"',
        f'<path d="{body}{_SHAKING if shake else ""}"/><path d="{top}" fill="{paint}"{dashed}/>',
    )


def _svg(name: str, box: str, stroke: str, inner: str, cap: str = "round") -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="{name}" viewBox="{box}" fill="none" {stroke} '
        f'stroke-linecap="{cap}" stroke-linejoin="round">{inner}</svg>'
    )
