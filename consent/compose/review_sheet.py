"""The surgeon's review sheet: points, what drives this eye, every number with its source, what is missing."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import get_args

from consent.case import Understood
from consent.compose.after_surgery import first_morning, lens_placed
from consent.compose.document import Block, Document, Facts, Line, Para, Section, Signature, Table
from consent.compose.figures import horizon
from consent.compose.frame import finish, local
from consent.compose.review_drops import drops_section
from consent.compose.review_words import SheetWords, words_section
from consent.compose.voice import Voice, joined
from consent.language import Day, Quoted
from consent.review import Assessment, Point, Row, Severity, State, answer_fact, differences, events, review_triggers
from consent.risk import Estimate, Range, RangeKind, has_lapsed, may_show_personal
from consent.wording import remark

SHEET = "surgeon-review"
_ALWAYS_SO = frozenset({"trigger.someone-else", "trigger.days"})
"""Triggers that stand on the form and hold for most patients."""


def review_sheet(
    assessment: Assessment,
    voice: Voice,
    points: tuple[Point, ...],
    completeness: tuple[Row, ...],
    words: tuple[SheetWords, ...],
) -> Document:
    """The composed sheet, made last: ``completeness`` and ``words`` come from the other composed sheets."""
    is_done = assessment.case.done is not None
    sections = (
        _summary(assessment, voice, points),
        *((plan_and_fact(assessment, voice),) if is_done else ()),
        _points(voice, points),
        *(() if is_done else (_risks(assessment, voice),)),
        drops_section(assessment, voice),
        *(() if is_done else (_completeness(assessment, voice, completeness),)),
        words_section(voice, words),
        _sign_off(assessment, voice),
    )
    title = voice.line("review.title", name=Quoted(assessment.case.patient.name))
    return finish(voice, assessment, SHEET, title, sections, layout="dense", patient_sheet=False)


def _summary(assessment: Assessment, voice: Voice, points: tuple[Point, ...]) -> Section:
    case = assessment.case
    tally = {severity: sum(point.severity is severity and point.open for point in points) for severity in Severity}
    rupture = assessment.risks["capsule_rupture"]
    factors = [
        voice.line("review.driver", factor=remark(f"factor.{driver.factor}"), ratio=driver.ratio)
        if driver.known
        else voice.line("review.driver-unknown", factor=remark(f"factor.{driver.factor}"), ratio=driver.ratio)
        for driver in rupture.drivers
    ]
    plan = voice.line(
        "review.plan",
        eye=remark(f"eye.{case.eye.side}"),
        operation=remark(f"operation.{case.plan.operation}"),
        date=case.plan.date,
        years=case.age_years,
    )
    counts = voice.line(
        "review.tally", stops=tally[Severity.STOP], asks=tally[Severity.ASK], notes=tally[Severity.NOTE]
    )
    driven = joined(factors) if factors else voice.line("review.no-driver")
    rows = (
        (voice.line("review.case"), joined([plan, counts])),
        (voice.line("review.drives"), driven),
        (voice.line("review.decision"), _decision(assessment, voice)),
    )
    return Section("summary", None, (Facts(rows),))


def plan_and_fact(assessment: Assessment, voice: Voice) -> Section:
    """What was done, what differed from the plan and whether that had been agreed; who told the patient."""
    case, done = assessment.case, assessment.case.done
    rows = [(voice.line("label.lens-placed"), lens_placed(case, voice))]
    for found in differences(case):
        agreed = "review.agreed-before" if found.agreed else "review.not-agreed-before"
        rows.append((voice.remark(found.told), voice.line(agreed)))
    told = voice.line("value.not-entered")
    if done is not None and done.told is not None:
        at = local(done.told.at, assessment.clinic)
        told = joined([voice.quoted(done.told.by), voice.show(at.date()), voice.show(at.time())], ", ")
    happened = [voice.line(f"fact.happened.{name}") for name in events(case)]
    if happened:
        rows += [(voice.line("review.happened"), joined(happened)), (voice.line("not-to-plan.told"), told)]
    rows += first_morning(case, voice)
    if done is not None and done.referral is not None:
        sent = [voice.quoted(done.referral.to)]
        if done.referral.expected_on is not None:
            sent.append(voice.show(done.referral.expected_on))
        rows.append((voice.line("review.referral"), joined(sent, ", ")))
    return Section("plan-and-fact", voice.line("home.done.heading"), (Facts(tuple(rows)),))


def _decision(assessment: Assessment, voice: Voice) -> Line:
    """What the patient decided, what they said back, and what changed since the talk."""
    case = assessment.case
    said_back = [
        voice.line(
            "review.said-back-one", topic=remark(f"topic.{entry.question}"), result=remark(f"understood.{entry.result}")
        )
        for entry in case.talk.said_back
        if entry.result is not Understood.FIRST_TIME
    ]
    lines = [
        voice.line(f"review.outcome.{case.talk.outcome}"),
        *said_back,
        *(voice.remark(trigger) for trigger in review_triggers(case) if trigger.id not in _ALWAYS_SO),
    ]
    return joined(lines)


def _points(voice: Voice, points: tuple[Point, ...]) -> Section:
    head = _head(voice, "severity", "what", "facts", "settle", "source")
    rows = tuple(
        (
            _severity(voice, point),
            voice.remark(point.title),
            joined([*(voice.remark(fact) for fact in point.facts), *_answer(voice, point)]),
            voice.remark(point.settle),
            voice.show(point.source),
        )
        for point in points
    )
    return Section("points", voice.line("review.points.heading"), (Table(head, rows, style="points"),))


def _severity(voice: Voice, point: Point) -> Line:
    """How grave it is; where it waits for an answer, the key by which an answer names it."""
    line = voice.line(f"severity.{point.severity}")
    if point.severity is Severity.NOTE or not point.overridable:
        return line
    return joined([line, voice.show(point.key)], " ")


def _answer(voice: Voice, point: Point) -> Iterator[Line]:
    if point.answer is not None:
        yield voice.remark(answer_fact(point.answer))
        yield voice.remark(remark("fact.answer-why", why=Quoted(point.answer.why)))


def _risks(assessment: Assessment, voice: Voice) -> Section:
    head = _head(voice, "outcome", "this-eye", "range", "usual", "when", "series", "verified", "patient-sees")
    rows = tuple(risk_row(estimate, assessment, voice) for estimate in assessment.risks.values())
    assumed: list[Line] = []
    for said in dict.fromkeys(
        note for estimate in assessment.risks.values() if estimate.applies for note in estimate.assumptions
    ):
        line = voice.remark(said)
        if line not in assumed:
            assumed.append(line)
    blocks: list[Block] = [Table(head, rows, style="risks")]
    blocks.append(Para(_beside(assessment, voice)))
    kinds = sorted({e.interval.kind for e in assessment.risks.values() if e.interval}, key=get_args(RangeKind).index)
    legend = [voice.line(f"range.{kind}") for kind in kinds]
    blocks.append(Para(_prefixed(voice.line("review.range-legend"), legend), style="small"))
    blocks.append(Para(_prefixed(voice.line("review.assumed"), assumed), style="small"))
    blocks.append(Para(_acceptances(assessment, voice), style="small"))
    return Section("risks", voice.line("review.risks.heading"), tuple(blocks))


def _beside(assessment: Assessment, voice: Voice) -> Line:
    """The other reference population, and the published points score, beside the model's figure."""
    lines = [
        voice.line(
            "review.other-population",
            outcome=remark(f"outcome.{estimate.outcome}.short"),
            value=_per_thousand(estimate.other_population),
        )
        for estimate in assessment.risks.values()
        if estimate.other_population is not None
    ]
    check = assessment.risks["capsule_rupture"].crosscheck
    if check is not None:
        observed = _per_thousand(check.observed.figure.probability)
        lines.append(
            voice.line(
                "review.crosscheck",
                series=check.series,
                points=check.points,
                most=check.at_most,
                value=observed,
                relative=round(check.relative, 1),
            )
        )
    return joined(lines) if lines else voice.line("review.none")


def _acceptances(assessment: Assessment, voice: Voice) -> Line:
    """Who accepted which figures: by name and date, or that nobody has."""
    lines = [
        voice.line("review.accepted-series", series=entry.series, by=Quoted(entry.by), date=Day(entry.on))
        for entry in assessment.clinic.accepted_series
    ]
    own = assessment.case.figures_accepted
    if own is None or has_lapsed(assessment.risks.values(), assessment.case):
        lines.append(voice.line("review.figures-not-accepted"))
    else:
        lines.append(voice.line("review.accepted-case", by=Quoted(own.by), date=Day(own.at.date())))
    return joined(lines)


def risk_row(estimate: Estimate, assessment: Assessment, voice: Voice) -> tuple[Line, ...]:
    """Outcome, this eye, range, usual eye, when, series, least checked, and which of both the patient sees."""
    permission = may_show_personal(estimate, assessment.case, assessment.clinic)
    if not estimate.known:
        nothing = voice.line("review.not-known" if estimate.applies else "review.does-not-apply")
        blank = voice.line("review.none")
        name = voice.line(f"outcome.{estimate.outcome}.short")
        return (name, nothing, blank, blank, _horizon(estimate, voice), blank, blank, nothing)
    seen = "personal" if estimate.personal and permission.allowed else "usual"
    return (
        voice.line(f"outcome.{estimate.outcome}.short"),
        _value(voice, estimate.probability),
        _range(voice, estimate.interval),
        _value(voice, estimate.usual),
        _horizon(estimate, voice),
        _series(estimate, assessment, voice),
        voice.line(f"verified.{estimate.weakest}"),
        voice.line(f"review.sees-{seen}"),
    )


def _series(estimate: Estimate, assessment: Assessment, voice: Voice) -> Line:
    """Series and years behind a row; the sources of capsule rupture are listed once, in its own row."""
    rupture = {source.reference for source in assessment.risks["capsule_rupture"].sources}
    own = [s for s in estimate.sources if estimate.outcome == "capsule_rupture" or s.reference not in rupture]
    named = "; ".join(dict.fromkeys(f"{source.series} ({source.years})" for source in own))
    if len(own) == len(estimate.sources):
        return voice.show(named)
    return voice.line("review.mixed", series=named)


def _horizon(estimate: Estimate, voice: Voice) -> Line:
    return voice.remark(horizon(estimate.horizon))


def _value(voice: Voice, probability: float | None) -> Line:
    return voice.line("review.none") if probability is None else voice.show(_per_thousand(probability))


def _range(voice: Voice, span: Range | None) -> Line:
    if span is None:
        return voice.line("review.no-interval")
    low, high = _per_thousand(span.low), _per_thousand(span.high)
    return voice.line("review.span", low=low, high=high, kind=remark(f"letter.{span.kind}"))


def _per_thousand(probability: float) -> Decimal:
    """Per 1,000, to three significant digits and never an exponent."""
    text = f"{1000 * probability:#.3g}"
    return Decimal(f"{float(text):f}").normalize() if float(text) < 100 else Decimal(round(float(text)))


def _completeness(assessment: Assessment, voice: Voice, rows: tuple[Row, ...]) -> Section:
    met = [row for row in rows if row.state is State.MET]
    unmet = [row for row in rows if row.state is State.UNMET]
    beside = [row for row in rows if row.state is State.NOT_APPLICABLE]
    lines = (
        (voice.line("review.met", count=len(met)), voice.show("; ".join(_places(met)) or "-")),
        (
            voice.line("review.unmet", count=len(unmet)),
            joined([_elements(voice, unmet), *_not_applicable(voice, beside)]),
        ),
    )
    measured = "; ".join(f"{row.element.id} {', '.join(row.measured)}" for row in rows if row.measured)
    notes = [voice.show(measured)] if measured else []
    notes += [_approval(assessment, voice), voice.line("review.profile-caution")]
    heading = voice.line("review.completeness.heading", profile=assessment.clinic.profile)
    return Section("completeness", heading, (Facts(lines), Para(joined(notes), style="small")))


def _approval(assessment: Assessment, voice: Voice) -> Line:
    """Which profile the form was held against, and who approved it for this place."""
    clinic = assessment.clinic
    approved = clinic.profile_approved
    if approved is None or approved.profile != clinic.profile:
        return voice.line("review.profile-not-approved")
    return voice.line(
        "review.profile",
        clinician=Quoted(approved.clinician),
        lawyer=Quoted(approved.lawyer),
        date=Day(approved.on),
    )


def _places(met: list[Row]) -> Iterator[str]:
    """Each section of the form with the elements it answers first."""
    found: dict[str, list[str]] = {}
    for row in met:
        found.setdefault(row.where[0].partition(" / ")[2] if row.where else "-", []).append(row.element.id)
    return (f"{section}: {_runs(ids)}" for section, ids in found.items())


def _runs(ids: list[str]) -> str:
    """Ids of one set written once, neighbours as a run: ``RK-01-03, 05 ST-04``."""
    numbers: dict[str, list[list[int]]] = {}
    for name in sorted(ids):
        prefix, number = name.split("-")
        runs = numbers.setdefault(prefix, [])
        if runs and int(number) == runs[-1][-1] + 1:
            runs[-1].append(int(number))
        else:
            runs.append([int(number)])
    return " ".join(f"{prefix}-{','.join(_run(run) for run in runs)}" for prefix, runs in numbers.items())


def _run(run: list[int]) -> str:
    return f"{run[0]:02}" if len(run) == 1 else f"{run[0]:02}–{run[-1]:02}"


def _not_applicable(voice: Voice, rows: list[Row]) -> Iterator[Line]:
    if rows:
        ids = voice.show(", ".join(row.element.id for row in rows))
        yield joined([voice.line("review.beside", count=len(rows)), ids], " ")


def _elements(voice: Voice, rows: list[Row]) -> Line:
    if not rows:
        return voice.line("review.none")
    return voice.show("; ".join(f"{row.element.id} ({row.element.level}) {_named(row)}" for row in rows))


def _named(row: Row) -> str:
    """Which parts of the element nothing answers; all it asks for where it has no parts."""
    return ", ".join(row.missing) or row.element.text


def _sign_off(assessment: Assessment, voice: Voice) -> Section:
    surgeon = assessment.case.plan.surgeon
    labels = tuple(voice.line(f"sign.{name}") for name in ("reason", "signature", "date", "time"))
    block = Signature(
        role=voice.line("sign.surgeon"),
        meaning=voice.line("review.sign-off"),
        labels=labels,
        name=voice.quoted(surgeon.name),
    )
    return Section("sign-off", voice.line("review.sign-off.heading"), (block,))


def _head(voice: Voice, *names: str) -> tuple[Line, ...]:
    return tuple(voice.line(f"head.{name}") for name in names)


def _prefixed(label: Line, lines: list[Line]) -> Line:
    return joined([label, *lines]) if lines else label
