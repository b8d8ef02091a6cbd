"""The drops on the surgeon's review sheet: every bottle, the times, what is not given, what is put forward and why."""

from __future__ import annotations

from collections.abc import Iterator

from consent.compose.document import Block, Line, Para, Section
from consent.compose.drop_steps import said
from consent.compose.voice import Voice, joined
from consent.drops import DropPlan, Row
from consent.language import Day, Quoted
from consent.review import Assessment
from consent.wording import remark


def drops_section(assessment: Assessment, voice: Voice) -> Section:
    """Every bottle, how the times were chosen, what is not given, and the regimens put forward."""
    plan = assessment.drops
    lines = [_drug(assessment, row, voice) for row in plan.rows]
    blocks: list[Block] = [Para(joined(lines) if lines else voice.line("home.drops.none"))]
    if not assessment.findings:
        blocks.append(Para(voice.line("review.no-finding")))
    about = [*_changes(assessment, voice), *_times(plan, voice), *_told(plan, voice), *_put_forward(assessment, voice)]
    if about:
        blocks.append(Para(joined(about, " ")))
    return Section("drops", voice.line("review.drops.heading", regimen=plan.regimen.id), tuple(blocks))


def _times(plan: DropPlan, voice: Voice) -> Iterator[Line]:
    """How the clock times were chosen, and what that cost."""
    if plan.is_drop_free:
        return
    moved = sorted({number for day in plan.sessions if day.number >= plan.issued_from for number in day.moved})
    rows = ", ".join(map(str, moved)) or "-"
    words = "review.times-even" if plan.times == "even" else "review.times-fewest"
    slots = {} if plan.times == "even" else {"rows": rows}
    yield voice.line(words, minutes=plan.longest_minutes, **slots)
    if plan.by_landmarks:
        yield voice.line("review.times-landmarks")


def _told(plan: DropPlan, voice: Voice) -> Iterator[Line]:
    return (voice.remark(said(told)) for told in plan.told)


def _changes(assessment: Assessment, voice: Voice) -> Iterator[Line]:
    """Which regimen from which day on, who ordered it and why."""
    for change in assessment.case.drop_changes:
        yield voice.line(
            "review.drops-changed",
            date=Day(change.on),
            regimen=change.regimen,
            by=Quoted(change.by),
            why=Quoted(change.why),
        )


def _put_forward(assessment: Assessment, voice: Voice) -> Iterator[Line]:
    """The regimen at the head of the list, what speaks for and against it; where the case differs, the next too."""
    offered = [candidate for candidate in assessment.proposal.candidates if candidate.may_be_proposed]
    agreed = bool(offered) and offered[0].regimen.id == assessment.case.regimen
    for words, candidate in zip(
        ("review.put-forward", "review.next-best"), offered[: 1 if agreed else 2], strict=False
    ):
        reasons = [voice.line(f"situation.{reason.situation}") for reason in candidate.reasons]
        if not reasons:
            own = candidate.regimen.id == assessment.clinic.drops.regimen
            reasons = [voice.line("proposal.own" if own else "proposal.everybody")]
        against = [voice.line(f"finding.{finding.id}.title") for finding in candidate.against]
        yield voice.each(
            words,
            regimen=voice.show(candidate.regimen.id),
            reasons=joined(reasons),
            against=joined(against) if against else voice.show("-"),
        )


def _drug(assessment: Assessment, row: Row, voice: Voice) -> Line:
    supply = next(supply for supply in assessment.drops.supplies if row.number in supply.rows)
    slots = {
        "number": row.number,
        "name": row.drug.name,
        "eye": remark(f"eye.{row.side}"),
        "steps": "-".join(_step(phase.times_a_day, phase.drops_per_dose) for phase in row.phases),
        "first": Day(row.first, "short"),
        "last": Day(row.last),
        "drops": row.total,
    }
    if row.number != supply.rows[0]:
        return voice.line("review.drug-shared", **slots, shared=supply.rows[0])
    container = remark(f"review.supply.{supply.container}", count=supply.count)
    return voice.line("review.drug", **slots, supply=container)


def _step(times: int, drops: int) -> str:
    return f"{times}×{drops}" if drops > 1 else str(times)
