"""What was done, told to the patient: lens in the eye, steps taken, what differed from the plan, the first morning."""

from __future__ import annotations

from consent.case import Answer, Case, ExtraStep, Lens, LensPlace, Operation
from consent.compose.document import Block, Bullets, Facts, Line, Para, Pictures
from consent.compose.form_plan import lens_remark
from consent.compose.pictures import diagram
from consent.compose.voice import Voice
from consent.language import Quoted
from consent.review import differences, events, unlike, unplanned_steps
from consent.wording import Remark, remark

_DRAWN = {"capsule_torn": "bag_torn", "piece_retained": "piece_behind", "no_lens": "no_lens"}
"""What is drawn of an event; jelly is drawn as it was taken away."""
_LENS_DRAWN = {LensPlace.BAG: "lens_in_bag", LensPlace.SULCUS: "lens_in_front_of_bag"}
"""The places of a lens that there is a drawing of."""


def lens_placed(case: Case, voice: Voice) -> Line:
    """The lens in the eye and its place; that there is none yet, or that nobody has written it down."""
    done = case.done
    if done is None or (done.lens is None and done.no_lens is not Answer.YES):
        return voice.line("value.not-entered")
    return voice.line("value.no-lens-yet") if done.lens is None else voice.remark(_placed(done.lens))


def _placed(lens: Lens) -> Remark:
    return remark("value.lens-placed", lens=_named(lens), place=remark(f"place.{lens.place}"))


def _named(lens: Lens) -> Remark:
    """A lens that is in the eye: a power that nobody has entered is not one still to be worked out."""
    if lens.power_d is None:
        return remark("value.lens-power-not-entered", design=remark(f"lens.{lens.design}"))
    return lens_remark(lens)


def what_was_done(case: Case, voice: Voice) -> tuple[Block, ...]:
    """Lens and first morning as facts; then that all went as planned, or each difference by name."""
    rows = [
        (voice.line("label.operation"), voice.line(f"operation.{operation_done(case)}")),
        (voice.line("label.lens-placed"), lens_placed(case, voice)),
        *first_morning(case, voice),
    ]
    different = told_differences(case, voice)
    blocks: list[Block] = [Facts(tuple(rows))]
    if different:
        blocks += [Para(voice.line("home.done.different"), style="strong"), Bullets(different)]
        blocks += not_agreed(case, voice)
    elif case.done is not None and case.done.as_planned is not Answer.UNKNOWN:
        said = "home.done.as-planned" if case.done.as_planned is Answer.YES else "home.done.not-as-planned"
        blocks.append(Para(voice.line(said), style="strong"))
    return tuple(blocks)


def operation_done(case: Case) -> Operation:
    """The operation as it ended; the planned one where nothing else was entered."""
    return (case.done.operation if case.done else None) or case.plan.operation


def first_morning(case: Case, voice: Voice) -> list[tuple[Line, Line]]:
    """Sight and pressure of the first morning, where they were entered."""
    day1 = case.day1
    rows = []
    if day1 is not None and day1.acuity_pinhole is not None:
        rows.append((voice.line("label.first-morning-sight"), voice.show(day1.acuity_pinhole)))
    if day1 is not None and day1.pressure_mmhg is not None:
        pressure = voice.line("value.mmhg", mmhg=day1.pressure_mmhg)
        rows.append((voice.line("label.first-morning-pressure"), pressure))
    return rows


def not_agreed(case: Case, voice: Voice) -> tuple[Block, ...]:
    """That the surgeon owes the reason, where something was done that had not been agreed beforehand."""
    if all(found.agreed for found in differences(case)):
        return ()
    return (Para(voice.line("done.not-agreed")),)


def told_differences(case: Case, voice: Voice) -> tuple[Line, ...]:
    """What happened and what was done otherwise than planned, each in its own words; empty where nothing was."""
    return (*happened(case, voice), *told_steps(case, voice))


def happened(case: Case, voice: Voice) -> tuple[Line, ...]:
    """What did not go to plan in the eye."""
    lines = [voice.line(f"happened.{name}") for name in events(case)]
    if case.done is not None and case.done.complication:
        lines.append(voice.line("happened.complication", text=Quoted(case.done.complication)))
    return tuple(lines)


def told_steps(case: Case, voice: Voice) -> tuple[Line, ...]:
    """What was done about it: another operation or lens, and each extra step."""
    plan, done = case.plan, case.done
    if done is None:
        return ()
    lines = []
    if done.operation is not None and done.operation is not plan.operation:
        lines.append(voice.line("done.other-operation", operation=remark(f"operation.{done.operation}")))
    if done.lens is not None and plan.lens is not None and unlike(done.lens, plan.lens):
        place = remark(f"place.{done.lens.place}")
        lines.append(voice.line("done.other-lens", lens=_named(done.lens), place=place))
    lines += [voice.line(f"done.step.{step}") for step in unplanned_steps(case)]
    return tuple(lines)


def operated_by(case: Case) -> str:
    """Who operated: as entered afterwards, else the surgeon of the plan, with the registration where it is known."""
    surgeon = case.plan.surgeon
    if case.done is not None and case.done.by and case.done.by != surgeon.name:
        return case.done.by
    return f"{surgeon.name} ({surgeon.registration})" if surgeon.registration else surgeon.name


def sent_on(case: Case, voice: Voice) -> tuple[Block, ...]:
    """Where the patient goes next: said first, since it is to be done first."""
    referral = case.done.referral if case.done else None
    if referral is None:
        return ()
    place, day = Quoted(referral.to), referral.expected_on
    sent = (
        voice.line("not-to-plan.referred", place=place, date=day)
        if day
        else voice.line("not-to-plan.referred-no-date", place=place)
    )
    return (Para(sent, style="strong"), Para(voice.line("not-to-plan.referred-ask")))


def drawn(case: Case, voice: Voice) -> Pictures | None:
    """What happened and where the lens is now, drawn; None where nothing went wrong."""
    done = case.done
    if done is None or not done.went_wrong:
        return None
    names = [_DRAWN[name] for name in events(case) if name in _DRAWN]
    if ExtraStep.ANTERIOR_VITRECTOMY in done.steps:
        names.append("jelly_removed")
    if done.lens is not None and done.lens.place in _LENS_DRAWN:
        names.append(_LENS_DRAWN[done.lens.place])
    items = tuple((diagram(name), voice.line(f"picture.{name}")) for name in names)
    return Pictures(items, style="diagrams") if items else None
