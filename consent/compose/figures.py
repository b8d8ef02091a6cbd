"""The risks of this eye as a patient may be told them: usual eye, this eye if accepted, both sides of each figure."""

from __future__ import annotations

from consent.case import Case
from consent.clinic import Clinic
from consent.compose.counts import TEN_WHOLE, WHOLE, Shown, show
from consent.compose.document import Array, Line, Risk
from consent.compose.pictures import icon_array
from consent.compose.voice import Voice
from consent.language import Range
from consent.risk import Estimate, may_show_personal
from consent.wording import Remark, remark

_LEAST_FOR_ARRAY = 10
"""A drawing of fewer dots than this says no more than the number does."""


def risk_block(voice: Voice, estimate: Estimate, case: Case, clinic: Clinic, elements: tuple[str, ...]) -> Risk:
    """One outcome, usual eye beside this eye, with drawings where the two differ enough to be seen."""
    usual = usual_shown(estimate)
    own = own_shown(estimate, case, clinic)
    if own is None:
        figures = [voice.remark(_figure(usual))]
    else:
        figures = [_labelled(voice, "risk.usual-eye", usual), _labelled(voice, "risk.your-eye", own)]
    return Risk(
        name=voice.line(f"outcome.{estimate.outcome}.name"),
        figures=tuple(figures),
        means=voice.line(f"outcome.{estimate.outcome}.means"),
        counted_in=_counted_in(voice, estimate),
        arrays=_arrays(voice, usual, own),
        elements=elements,
    )


def usual_shown(estimate: Estimate) -> Shown:
    """How the usual eye's figure is put."""
    span = estimate.usual_interval
    if not estimate.known:
        return Shown("unknown")
    if estimate.usual is None and span is not None:
        return show(None, span.low, span.high, single=False)
    return show(estimate.usual, estimate.usual, estimate.usual, single=True)


def own_shown(estimate: Estimate, case: Case, clinic: Clinic) -> Shown | None:
    """How this eye's figure is put; None where it may not be shown, or does not differ from the usual eye."""
    if not estimate.personal or not may_show_personal(estimate, case, clinic).allowed:
        return None
    span = estimate.interval
    low, high = (span.low, span.high) if span else (None, None)
    return show(estimate.probability, low, high, estimate.single_figure)


def _figure(shown: Shown) -> Remark:
    return remark(_MESSAGE[shown.how], **_slots(shown))


def _labelled(voice: Voice, label: str, shown: Shown) -> Line:
    return voice.line("risk.labelled", label=remark(label), figure=_figure(shown))


_MESSAGE = {
    "count": "risk.count",
    "spread": "risk.spread",
    "spread up to": "risk.spread-up-to",
    "range": "risk.range",
    "fewer": "risk.fewer",
    "up to": "risk.up-to",
    "unknown": "risk.unknown",
}


def _slots(shown: Shown) -> dict[str, object]:
    whole = {"whole": WHOLE}
    if shown.how == "count":
        return {**whole, "count": shown.count, "rest": WHOLE - shown.count}
    if shown.how == "spread":
        span = Range(shown.low, shown.high)
        return {**whole, "count": shown.count, "rest": WHOLE - shown.count, "span": span}
    if shown.how == "spread up to":
        return {**whole, "count": shown.count, "rest": WHOLE - shown.count, "high": shown.high}
    if shown.how == "range":
        return {**whole, "span": Range(shown.low, shown.high), "rest": Range(WHOLE - shown.high, WHOLE - shown.low)}
    if shown.how == "fewer":
        return {**whole, "rest": WHOLE - 1, "tenth": shown.tenth, "ten_whole": TEN_WHOLE}
    if shown.how == "up to":
        return {**whole, "high": shown.high, "rest": WHOLE - shown.high}
    return {}


def _counted_in(voice: Voice, estimate: Estimate) -> Line | None:
    if not estimate.known:
        return None
    return voice.line(
        "risk.counted-in",
        when=horizon(estimate.horizon),
        place=remark(f"region.{estimate.region}"),
    )


def _arrays(voice: Voice, usual: Shown, own: Shown | None) -> tuple[Array, ...]:
    if own is None or usual.how != "count" or own.how in ("fewer", "up to", "unknown"):
        return ()
    most = max(own.count, own.high)
    if most < _LEAST_FOR_ARRAY or (own.how != "range" and own.count == usual.count):
        return ()
    return (
        _array(voice, "risk.array-usual", usual.count, None),
        _array(voice, "risk.array-yours", *((own.low, own.high) if own.how == "range" else (own.count, None))),
    )


def _array(voice: Voice, label: str, filled: int, could_be: int | None) -> Array:
    if could_be is None:
        return Array(icon_array(filled), voice.line(label, count=filled, whole=WHOLE))
    caption = voice.line(f"{label}-range", span=Range(filled, could_be), whole=WHOLE)
    return Array(icon_array(filled, could_be), caption)


def horizon(name: str) -> Remark:
    """When an outcome is counted: ``days_60``, ``years_3`` or ``months_3_to_years_4`` carry their numbers as slots."""
    words = [part for part in name.split("_") if not part.isdigit()]
    numbers = [int(part) for part in name.split("_") if part.isdigit()]
    units = [word for word in words if word in ("days", "months", "years")]
    return remark(f"horizon.{'-'.join(words)}", **dict(zip(units, numbers, strict=True)))
