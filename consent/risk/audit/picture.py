"""Draws observed against expected, group by group: as SVG without text, and as lines for a terminal."""

from __future__ import annotations

import math
from collections.abc import Iterable

from consent.risk.audit.calibration import Calibration, Tally

PER = 1000
_SIDE, _EDGE = 300.0, 20.0
_INK, _PALE = "#111", "#9a9a9a"
_WIDTH = 50


def picture_limit(calibration: Calibration) -> int:
    """Largest value on both axes, events per 1,000 operations: a whole number of ticks."""
    step = picture_tick(calibration)
    return step * math.ceil(_highest(calibration.groups) / step)


def picture_tick(calibration: Calibration) -> int:
    """Distance between two ticks, events per 1,000 operations: 1, 2 or 5 times a power of ten, at most ten ticks."""
    least = _highest(calibration.groups) / 10
    power = int(10 ** max(0, math.floor(math.log10(least))))
    return next(step * power for step in (1, 2, 5, 10) if step * power >= least)


def calibration_svg(calibration: Calibration) -> str:
    """SVG with expected across and observed upwards, one point with its Wilson limits for each group.

    Dashed line: observed as expected by the model as published. Solid line: the model after the audit. No text is
    drawn; ``picture_tick`` says what the ticks mean.
    """
    limit, tick = picture_limit(calibration), picture_tick(calibration)
    slope = calibration.shrunk
    marks = "".join(_tick(value / limit) for value in range(tick, limit + 1, tick))
    points = "".join(_point(group, limit) for group in calibration.groups)
    size = _SIDE + 2 * _EDGE
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="calibration" viewBox="0 0 {size:g} {size:g}" fill="none" '
        f'stroke="{_INK}" stroke-width="1.5"><rect width="{size:g}" height="{size:g}" fill="#fff" stroke="none"/>'
        f'<path d="{_line(0, 1, 0, 0)}{_line(0, 0, 1, 0)}{marks}"/>'
        f'<path d="{_line(0, 0, 1, 1)}" stroke="{_PALE}" stroke-dasharray="6 5"/>'
        f'<path d="{_line(0, 0, min(1, 1 / slope), min(1, slope))}"/>{points}</svg>\n'
    )


def calibration_lines(calibration: Calibration) -> tuple[str, ...]:
    """One line of text for each group: Wilson limits as a bar, x where the model expects it, o where it was."""
    limit = picture_limit(calibration)
    scale = f"0{str(limit).rjust(_WIDTH)} per {PER:,}"
    return (*(_bar(group, limit) for group in calibration.groups), scale)


def _highest(groups: Iterable[Tally]) -> float:
    return max(PER * max(group.rate_limits[1], group.expected_rate) for group in groups)


def _bar(group: Tally, limit: int) -> str:
    def place(rate: float) -> int:
        return round(_WIDTH * min(1.0, PER * rate / limit))

    low, high = group.rate_limits
    cells = [" "] * (_WIDTH + 1)
    cells[place(low) : place(high) + 1] = "-" * (place(high) - place(low) + 1)
    expected, observed = place(group.expected_rate), place(group.rate)
    cells[expected], cells[observed] = "x", "*" if expected == observed else "o"
    return "".join(cells).rstrip()


def _at(across: float, up: float) -> str:
    return f"{_EDGE + _SIDE * across:.1f} {_EDGE + _SIDE * (1 - up):.1f}"


def _line(x1: float, y1: float, x2: float, y2: float) -> str:
    return f"M{_at(x1, y1)}L{_at(x2, y2)}"


def _tick(share: float) -> str:
    return f"M{_at(share, 0)}v5M{_at(0, share)}h-5"


def _point(group: Tally, limit: int) -> str:
    across, up = PER * group.expected_rate / limit, PER * group.rate / limit
    low, high = (PER * end / limit for end in group.rate_limits)
    centre_x, centre_y = _at(across, up).split()
    bar = f"{_line(across, low, across, high)}M{_at(across, low)}m-4 0h8M{_at(across, high)}m-4 0h8"
    return f'<path d="{bar}"/><circle cx="{centre_x}" cy="{centre_y}" r="4" fill="{_INK}" stroke="none"/>'
