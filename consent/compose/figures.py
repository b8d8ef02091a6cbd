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

_WITH_RANGE = frozenset({"spread", "spread up to", "range", "fewer range", "up to"})
_LEAST_FOR_ARRAY = 10
"""A drawing of fewer dots than this says no more than the number does."""


def risk_block(voice: Voice, estimate: Estimate, assessment: Assessment, elements: tuple[str, ...]) -> Risk:
    """One outcome, usual eye beside this eye, with drawings where the two differ enough to be seen.

    Each line answers its own element of how a risk is told (RK-01 to RK-12), under the name of the outcome.
    """
    usual = usual_shown(estimate)
    own = own_shown(estimate, assessment.case, assessment.clinic)
    same = own == usual
    figures = [_labelled(voice, "risk.usual-eye", usual) if estimate.known else voice.remark(_figure(usual))]
    if own is not None:
        figures.append(voice.line("risk.same") if same else _labelled(voice, "risk.your-eye", own))
    because = voice.remark(_because(estimate, assessment)) if own is not None and not same else None
    if estimate.unlooked is not None:
        unlooked = voice.line("risk.because-unlooked", group=remark(f"counted-group.{estimate.unlooked}"))
        because = unlooked if because is None else joined((because, unlooked), " ")
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
    if own is not None:
        spots.append(Spot(joined((figures[1], *([because] if because else [])), " "), (f"RK-07:{of}",)))
        if own.how in _WITH_RANGE:
            spots.append(Spot(figures[1], (f"RK-08:{of}",)))
    arrays = _arrays(voice, usual, None if same else own, draw_alone=estimate.benefit)
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


def chances_head(voice: Voice) -> tuple[Line, Line, Line]:
    """Heads of a table of chances: of how many people, the usual eye, this eye."""
    return voice.line("chance.of", whole=WHOLE), voice.line("risk.usual-eye"), voice.line("risk.your-eye")


def chances_row(voice: Voice, estimate: Estimate, assessment: Assessment) -> tuple[Line, ...]:
    """One outcome as the row of a table: its name, the usual eye's figure, and this eye's or why there is none.

    Two cells where nothing is known of any eye.
    """
    usual, own = usual_shown(estimate), own_shown(estimate, assessment.case, assessment.clinic)
    name, figure = voice.line(f"outcome.{estimate.outcome}.name"), voice.remark(short_figure(usual, beside=own))
    if not estimate.known:
        return (name, figure)
    unsaid = "chance.not-yet" if estimate.personal or estimate.unlooked else "chance.not-apart"
    return (name, figure, voice.line(unsaid) if own is None else voice.remark(short_figure(own, beside=usual)))


def spoken_figures(voice: Voice, estimate: Estimate, assessment: Assessment) -> tuple[Line, ...]:
    """One outcome as it is said aloud: its name, the figures, what it means. The same figures as on the form."""
    block = risk_block(voice, estimate, assessment, ())
    name = tuple(Said(f"<strong>{piece.html}</strong>", piece.plain) for piece in block.name)
    return (name, *block.figures, *((block.because,) if block.because else ()), block.means)


def _because(estimate: Estimate, assessment: Assessment) -> Remark:
    """Why this eye's figure is not the usual eye's: the factors named, or what the figure follows from."""
    if estimate.group is not None:
        counted = "risk.because-assumed" if estimate.group_assumed else "risk.because-group"
        return remark(counted, group=remark(f"counted-group.{estimate.group}"))
    if estimate is not assessment.risks["capsule_rupture"]:
        return remark("risk.because-bag")
    if not estimate.drivers:
        return remark("risk.because-nothing")
    # Reasons that raise a figure do not explain one that is lower than the usual eye's.
    highest = estimate.interval.high if estimate.interval else estimate.probability
    less = estimate.usual is not None and (highest or 0.0) < estimate.usual
    return remark("risk.because-few" if less else "risk.because", reasons=_reasons(estimate))


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


def short_figure(shown: Shown, beside: Shown | None = None) -> Remark:
    """How a figure is put in a table whose head says of how many people; ``beside`` another one.

    Two figures below one of 1,000 that differ are told apart in 10,000.
    """
    if shown.how == "fewer" and beside is not None and beside != shown and beside.how in ("fewer", "fewer range"):
        return remark("chance.fewer-in-ten", tenth=shown.tenth, ten_whole=TEN_WHOLE)
    slots = {name: value for name, value in _slots(shown).items() if name in _SHORT[shown.how]}
    return remark(f"chance.{shown.how.replace(' ', '-')}", **slots)


_SHORT: dict[str, tuple[str, ...]] = {
    "count": ("count",),
    "spread": ("count", "span"),
    "spread up to": ("count", "high"),
    "range": ("span",),
    "fewer": (),
    "fewer range": ("span", "ten_whole"),
    "up to": ("high",),
    "unknown": (),
}
"""What the short form of a figure names; the whole stands at the head of its table."""
_MESSAGE = {
    "count": "risk.count",
    "spread": "risk.spread",
    "spread up to": "risk.spread-up-to",
    "range": "risk.range",
    "fewer": "risk.fewer",
    "fewer range": "risk.fewer-range",
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
    if shown.how == "fewer range":
        return {**whole, "rest": WHOLE - 1, "span": Range(shown.low, shown.high), "ten_whole": TEN_WHOLE}
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


def _arrays(voice: Voice, usual: Shown, own: Shown | None, draw_alone: bool) -> tuple[Array, ...]:
    """Both figures drawn where they differ enough to be seen; ``draw_alone``: the usual one also by itself."""
    if own is None and draw_alone and usual.how == "count":
        return (_array(voice, "risk.array-usual", usual.count, None),)
    if own is None or usual.how != "count" or own.how in ("fewer", "fewer range", "up to", "unknown"):
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
