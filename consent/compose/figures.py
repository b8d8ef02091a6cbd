"""The risks of this eye as a patient may be told them: usual eye, this eye if accepted, both sides of each figure."""

from __future__ import annotations

from consent.case import Case
from consent.clinic import Clinic
from consent.compose.counts import TEN_WHOLE, WHOLE, Shown, show
from consent.compose.document import Array, Line, Risk, Spot
from consent.compose.pictures import icon_array
from consent.compose.voice import Listed, Voice, joined
from consent.language import Range, Said
from consent.review.assessment import Assessment
from consent.risk import Estimate, may_show_personal
from consent.wording import Remark, remark

_WITH_RANGE = frozenset({"spread", "spread up to", "range", "up to"})
_LEAST_FOR_ARRAY = 10
"""A drawing of fewer dots than this says no more than the number does."""


def risk_block(voice: Voice, estimate: Estimate, assessment: Assessment, elements: tuple[str, ...]) -> Risk:
    """One outcome, usual eye beside this eye, with drawings where the two differ enough to be seen.

    Each line answers its own element of how a risk is told (RK-01 to RK-12), under the name of the outcome.
    """
    usual = usual_shown(estimate)
    own = own_shown(estimate, assessment.case, assessment.clinic)
    if own is None:
        figures = [voice.remark(_figure(usual))]
    else:
        figures = [_labelled(voice, "risk.usual-eye", usual), _labelled(voice, "risk.your-eye", own)]
    because = voice.remark(_because(estimate, assessment)) if own is not None else None
    means, counted_in = voice.line(f"outcome.{estimate.outcome}.means"), _counted_in(voice, estimate)
    of = estimate.outcome
    spots = [
        Spot(figures[0], (f"RK-01:{of}", f"RK-02:{of}", *([] if estimate.known else [f"RK-12:{of}"]))),
        Spot(means, (f"RK-05:{of}", f"RK-06:{of}")),
    ]
    if counted_in is not None:
        spots.append(Spot(counted_in, (f"RK-03:{of}", f"RK-04:{of}")))
    elif not estimate.known:
        spots.append(Spot(figures[0], (f"RK-03:{of}", f"RK-04:{of}")))
    if own is not None and because is not None:
        spots.append(Spot(joined((figures[1], because), " "), (f"RK-07:{of}",)))
        if own.how in _WITH_RANGE:
            spots.append(Spot(figures[1], (f"RK-08:{of}",)))
    arrays = _arrays(voice, usual, own)
    spots += [Spot(array.caption, (f"RK-11:{of}",)) for array in arrays]
    return Risk(
        name=voice.line(f"outcome.{estimate.outcome}.name"),
        figures=tuple(figures),
        means=means,
        counted_in=counted_in,
        because=because,
        arrays=arrays,
        elements=elements,
        spots=tuple(spots),
    )


def spoken_figures(voice: Voice, estimate: Estimate, assessment: Assessment) -> tuple[Line, ...]:
    """One outcome as it is said aloud: its name, the figures, what it means. The same figures as on the form."""
    block = risk_block(voice, estimate, assessment, ())
    name = tuple(Said(f"<strong>{piece.html}</strong>", piece.plain) for piece in block.name)
    return (name, *block.figures, *((block.because,) if block.because else ()), block.means)


def _because(estimate: Estimate, assessment: Assessment) -> Remark:
    """Why this eye's figure is not the usual eye's: the factors named, or what the figure follows from."""
    rupture = assessment.risks["capsule_rupture"]
    if estimate is rupture:
        if estimate.drivers:
            return remark("risk.because", reasons=_reasons(estimate))
        # A rate of a group of eyes, such as posterior polar cataracts, rests on no factor of the model.
        more = (estimate.probability or 0.0) > (estimate.usual or 0.0)
        return remark("risk.because-group" if more else "risk.because-nothing")
    model = {source.reference for source in rupture.sources}
    follows = any(source.reference in model for source in estimate.sources)
    return remark("risk.because-bag" if follows else "risk.because-group")


def _reasons(estimate: Estimate) -> Listed:
    named = [(remark(f"because.{driver.factor}"), driver.known) for driver in estimate.drivers]
    return Listed(tuple(said if known else remark("because.not-known", reason=said) for said, known in named), "; ")


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
