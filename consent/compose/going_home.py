"""The going-home sheet: what to expect, do and not do, with dates; warning signs, visits, how to put a drop in."""

from __future__ import annotations

import datetime as dt

from consent.case import Answer, DropGiver, Visit
from consent.compose.document import (
    Blank,
    Block,
    Bullets,
    Document,
    EyeBox,
    Facts,
    Line,
    Para,
    Section,
    Steps,
    Table,
    Warnings,
)
from consent.compose.drop_steps import face, giver
from consent.compose.frame import finish, unbroken
from consent.compose.pictures import pictogram
from consent.compose.voice import Voice
from consent.language import Day
from consent.review.assessment import Assessment
from consent.wording import remark

SHEET = "going-home"
_COME_NOW = ("sight-falls", "pain", "swollen-shut", "curtain", "knock", "gush", "wheeze")
_PHONE = ("redder", "sticky", "vomiting", "light-hurts", "rash")
_AT_VISIT = ("grit", "lines-bent", "glare")
_DROP_STEPS = ("wash", "shake", "head_back", "pull_lid", "one_drop", "close_press", "wait")


def going_home(assessment: Assessment, voice: Voice, large: bool = False) -> Document:
    """The composed sheet. Before surgery it tells the plan; what was done replaces it once it is known.

    ``large``: large print, also without the patient's wish for it in the case.
    """
    sections = (
        _who(assessment, voice),
        warning_signs(assessment, voice),
        _expect(voice),
        _care(assessment, voice),
        _visits(assessment, voice),
        _how(assessment, voice),
        _help(assessment, voice),
    )
    eye = remark(f"eye.{assessment.case.eye.side}")
    title, answers = voice.line("home.title", eye=eye), ("SM-02:instructions", "UN-03")
    return finish(voice, assessment, SHEET, title, sections, take_home=True, large=large, title_elements=answers)


def warning_signs(assessment: Assessment, voice: Voice) -> Section:
    """Each sign under exactly one of three actions, with the telephone."""
    phone = assessment.clinic.telephone
    groups = (
        ("now", voice.line("warn.come-now"), _signs(voice, _COME_NOW)),
        (
            "phone",
            voice.line("warn.phone-now", day=unbroken(phone.day), night=unbroken(phone.night)),
            _signs(voice, _PHONE),
        ),
        ("visit", voice.line("warn.at-visit"), _signs(voice, _AT_VISIT)),
    )
    return Section("warning-signs", voice.line("home.warning-signs.heading"), (Warnings(groups),))


def _signs(voice: Voice, names: tuple[str, ...]) -> tuple[Line, ...]:
    return tuple(voice.line(f"sign-of.{name}") for name in names)


def _who(assessment: Assessment, voice: Voice) -> Section:
    case = assessment.case
    eye = remark(f"eye.{case.eye.side}")
    done = case.done is not None
    rows = (
        (voice.line("label.name"), voice.quoted(case.patient.name)),
        (voice.line("label.record-number"), voice.show(case.patient.record_number)),
        (voice.line("label.operation"), voice.line(f"operation.{case.plan.operation}")),
        (voice.line("label.date"), voice.show(case.plan.date)),
    )
    from_in_front = case.patient.drops_given_by is DropGiver.HELPER
    caption = voice.line("picture.eye-side-in-front" if from_in_front else "picture.eye-side", eye=eye)
    box = EyeBox(voice.remark(eye), face(case.eye.side, assessment), caption)
    note = Para(voice.line("home.done" if done else "home.planned"), style="small")
    return Section("who", None, (box, Facts(rows), note))


def _expect(voice: Voice) -> Section:
    items = tuple(voice.line(f"home.expect.{name}") for name in ("blur", "grit", "better"))
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
    asked = [(f"care.{name}", _until(voice, surgery, days)) for name, days in until.items()]
    asked.insert(2, ("care.head-bath", _from(voice, surgery, care.head_bath_from_day)))
    asked.insert(0, ("care.pad", voice.line(f"care.pad-off.{care.pad_off}" if care.pad_off else "care.ask-us")))
    rows = [(voice.line(name), until_when) for name, until_when in asked if until_when is not None]
    always = tuple(voice.line(f"care.{name}") for name in ("may-do", "no-rubbing", "nothing-else", "tablets"))
    table = Table((voice.line("care.what"), voice.line("care.until-when")), tuple(rows), style="care")
    return Section("care", voice.line("home.care.heading"), (table, Bullets(always)))


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


def _visits(assessment: Assessment, voice: Voice) -> Section:
    case = assessment.case
    if not case.visits:
        return Section("visits", voice.line("home.visits.heading"), (Blank(voice.line("visit.ask-us"), lines=3),))
    ordered: list[Visit] = sorted(case.visits, key=lambda visit: visit.date)
    rows = tuple((voice.show(visit.date), voice.line(f"visit.{visit.kind}")) for visit in ordered)
    table = Table((voice.line("visit.when"), voice.line("visit.why")), rows, style="visits")
    blocks: list[Block] = [table, Para(voice.line("visit.bring"))]
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
    return Section("drops", voice.line("home.drops.heading"), (Steps(items),))


def _help(assessment: Assessment, voice: Voice) -> Section:
    patient = assessment.case.patient
    named = patient.drops_given_by in (DropGiver.SELF, DropGiver.NOBODY) or patient.drops_helper is not None
    who = giver(patient, voice) if named else voice.line("home.help.unknown")
    shown = voice.line("home.help.shown")
    blocks: list[Block] = [Para(who), Blank(shown, lines=1)]
    if patient.telephone_shared is Answer.YES:
        blocks.append(Para(voice.line("home.help.shared-telephone"), style="small"))
    return Section("help", voice.line("home.help.heading"), tuple(blocks))
