"""The going-home sheet: what to expect, do and not do, with dates; warning signs, visits, how to put a drop in."""

from __future__ import annotations

import datetime as dt

from consent.case import Answer, Case, DropGiver
from consent.compose.after_surgery import sent_on, what_was_done
from consent.compose.document import (
    Blank,
    Block,
    Bullets,
    Document,
    Facts,
    Line,
    Para,
    PicturedList,
    PicturedTable,
    Section,
    Steps,
    Table,
    WarningGroup,
    Warnings,
)
from consent.compose.drop_steps import giver
from consent.compose.frame import finish, telephone
from consent.compose.pictures import pictogram
from consent.compose.voice import Voice
from consent.compose.which_eye import eye_box, faced
from consent.language import Day, Quoted
from consent.review.assessment import Assessment
from consent.wording import remark

SHEET = "going-home"
_COME_NOW = ("sight-falls", "pain", "swollen-shut", "curtain", "flashes", "knock", "gush", "wheeze")
_PHONE = ("redder", "sticky", "vomiting", "light-hurts", "rash")
_AT_VISIT = ("grit", "lines-bent", "glare")
_DRAWN = {
    "sight-falls": "sight_less",
    "pain": "pain",
    "swollen-shut": "lid_swollen",
    "curtain": "curtain",
    "flashes": "flashes",
    "knock": "blow",
    "redder": "red_eye",
    "sticky": "pus",
}
"""The signs that have a picture."""
_CARE = {
    "pad": "pad",
    "shield": "shield",
    "water": "wash",
    "head-bath": "head_bath",
    "lifting": "lift",
    "dust-smoke": "hearth_smoke",
    "field-work": "field",
    "pond": "pond",
    "prayer": "prayer_bow",
}
_ALWAYS = (("read", "may-do"), ("rub", "no-rubbing"), ("shop_drop", "nothing-else"), ("tablets", "tablets"))
_ONE_DAY = dt.timedelta(days=1)
_CROSSED = frozenset({"rub", "shop_drop"})
_DROP_STEPS = ("wash", "shake", "head_back", "pull_lid", "one_drop", "close_press", "wait")


def going_home(assessment: Assessment, voice: Voice, large: bool = False) -> Document:
    """The composed sheet. Before surgery it tells the plan; what was done replaces it once it is known.

    ``large``: large print, also without the patient's wish for it in the case.
    """
    sections = (
        _who(assessment, voice),
        warning_signs(assessment, voice),
        *_done(assessment, voice),
        _expect(assessment.case, voice),
        _care(assessment, voice),
        visits(assessment, voice),
        _how(assessment, voice),
    )
    eye = remark(f"eye.{assessment.case.eye.side}")
    title, answers = voice.line("home.title", eye=eye), ("SM-02:instructions", "UN-03")
    return finish(voice, assessment, SHEET, title, sections, take_home=True, large=large, title_elements=answers)


def warning_signs(assessment: Assessment, voice: Voice) -> Section:
    """Each sign under exactly one of three actions, with the telephone and where to come."""
    at_once = telephone(voice, assessment.clinic, "warn.phone-now")
    where = voice.line("warn.where", place=Quoted(f"{assessment.clinic.name}, {assessment.clinic.address}"))
    groups = (
        _group("now", (voice.line("warn.come-now"), where), _COME_NOW, assessment, voice),
        _group("phone", (at_once,), _PHONE, assessment, voice),
        _group("visit", (voice.line("warn.at-visit"),), _AT_VISIT, assessment, voice),
    )
    both = assessment.drops.both_eyes and assessment.case.other_eye.operated is Answer.YES
    said = (Para(voice.line("home.both-eyes"), style="strong"),) if both else ()
    return Section("warning-signs", voice.line("home.warning-signs.heading"), (*said, Warnings(groups)))


def _group(
    name: str, action: tuple[Line, ...], signs: tuple[str, ...], assessment: Assessment, voice: Voice
) -> WarningGroup:
    drawn = tuple((faced(_DRAWN[sign], assessment), voice.line(f"sign-of.{sign}")) for sign in signs if sign in _DRAWN)
    return WarningGroup(
        name, action, drawn, tuple(voice.line(f"sign-of.{sign}") for sign in signs if sign not in _DRAWN)
    )


def _who(assessment: Assessment, voice: Voice) -> Section:
    case = assessment.case
    day = (voice.line("label.date"), voice.show(case.plan.date))
    operation = (voice.line("label.operation"), voice.line(f"operation.{case.plan.operation}"))
    blocks: list[Block] = [eye_box(assessment, voice), Para(_first(case, voice), style="strong")]
    if case.done is None:
        blocks += [Facts((day, operation)), Para(voice.line("home.planned"), style="small")]
    else:
        blocks.append(Facts((day,)))
    return Section("who", None, tuple(blocks))


def _first(case: Case, voice: Voice) -> Line:
    """What to do first, so that it can be said from the top third of the folded sheet."""
    days = [visit.date for visit in case.all_visits]
    if case.day1 is not None:
        days = [day for day in days if day > case.plan.date + _ONE_DAY]
    if not days:
        return voice.line("home.first-no-visit")
    return voice.line("home.first" if case.day1 is None else "home.first-after", date=min(days))


def _done(assessment: Assessment, voice: Voice) -> tuple[Section, ...]:
    """What was done and what differed from the plan; nothing before surgery."""
    case = assessment.case
    if case.done is None:
        return ()
    blocks = (*sent_on(case, voice), *what_was_done(case, voice))
    if case.done.went_wrong:
        blocks = (*blocks, Para(voice.line("home.done.see-other"), style="strong"))
    return (Section("done", voice.line("home.done.heading"), blocks),)


def _expect(case: Case, voice: Voice) -> Section:
    wrong = case.done is not None and case.done.went_wrong
    sight = voice.line("not-to-plan.now.slower" if wrong else "home.expect.blur")
    items = (sight, *(voice.line(f"home.expect.{name}") for name in ("grit", "better")))
    return Section("expect", voice.line("home.expect.heading"), (Bullets(items),))


def _care(assessment: Assessment, voice: Voice) -> Section:
    care, surgery = assessment.clinic.aftercare, assessment.case.plan.date
    until = {
        "shield": care.shield_nights,
        "water": care.no_water_in_eye_days,
        "lifting": care.no_heavy_lifting_days,
        "dust-smoke": care.no_dust_smoke_days,
        "field-work": care.no_field_work_days,
        "pond": care.no_pond_bath_days,
        "prayer": care.pray_seated_days,
    }
    asked = [(name, _until(voice, surgery, days)) for name, days in until.items()]
    asked.insert(2, ("head-bath", _from(voice, surgery, care.head_bath_from_day)))
    if assessment.case.day1 is None:
        asked.insert(0, ("pad", voice.line(f"care.pad-off.{care.pad_off}" if care.pad_off else "care.ask-us")))
    rows = [
        (faced(_CARE[name], assessment), voice.line(f"care.{name}"), until_when)
        for name, until_when in asked
        if until_when is not None
    ]
    always = tuple(
        (faced(picture, assessment, picture in _CROSSED), voice.line(f"care.{name}")) for picture, name in _ALWAYS
    )
    head = (voice.line("care.what"), voice.line("care.until-when"))
    table = PicturedTable(head, tuple(rows), style="care")
    return Section("care", voice.line("home.care.heading"), (table, PicturedList(always)))


def _until(voice: Voice, surgery: dt.date, days: int | None) -> Line | None:
    """Until when, or a line to ask; None where the clinic asks for nothing (0 days)."""
    if days is None:
        return voice.line("care.ask-us")
    if days == 0:
        return None
    return voice.line("care.until", date=Day(surgery + dt.timedelta(days=days)))


def _from(voice: Voice, surgery: dt.date, day: int | None) -> Line:
    if day is None:
        return voice.line("care.ask-us")
    return voice.line("care.from", date=Day(surgery + dt.timedelta(days=day)))


def visits(assessment: Assessment, voice: Voice) -> Section:
    """The visits by day, or lines to write them on."""
    case = assessment.case
    ordered = case.all_visits
    if not ordered:
        return Section("visits", voice.line("home.visits.heading"), (Blank(voice.line("visit.ask-us"), lines=3),))
    rows = tuple((voice.show(visit.date), voice.line(f"visit.{visit.kind}")) for visit in ordered)
    table = Table((voice.line("visit.when"), voice.line("visit.why")), rows, style="visits")
    blocks: list[Block] = [table, Para(voice.line("visit.bring"))]
    if case.patient.telephone_shared is Answer.YES:
        blocks.append(Para(voice.line("home.help.shared-telephone"), style="small"))
    return Section("visits", voice.line("home.visits.heading"), tuple(blocks))


def _how(assessment: Assessment, voice: Voice) -> Section:
    if assessment.drops.is_drop_free:
        return Section("drops", voice.line("home.drops.heading"), (Para(voice.line("home.drops.none")),))
    shakes = any(row.drug.shake for row in assessment.drops.rows)
    names = [name for name in _DROP_STEPS if name != "shake" or shakes]
    several = any(phase.drops_per_dose > 1 for row in assessment.drops.rows for phase in row.phases)
    settings = assessment.clinic.drops
    minutes = {"wait": settings.gap_minutes, "close_press": settings.close_eye_minutes}
    items = tuple(
        (
            pictogram(name),
            voice.count(f"drop-step.{name}", minutes[name])
            if name in minutes
            else voice.line("drop-step.as-many" if name == "one_drop" and several else f"drop-step.{name}"),
        )
        for name in names
    )
    helped = (Para(_giver(assessment.case, voice), style="strong"), Steps(items))
    shown = Blank(voice.line("home.help.shown"), lines=1)
    return Section("drops", voice.line("home.drops.heading"), (*helped, shown))


def _giver(case: Case, voice: Voice) -> Line:
    """Who puts the drops in; that it is not settled yet where nobody is named."""
    patient = case.patient
    named = patient.drops_given_by in (DropGiver.SELF, DropGiver.NOBODY) or patient.drops_helper is not None
    return giver(patient, voice) if named else voice.line("home.help.unknown")
