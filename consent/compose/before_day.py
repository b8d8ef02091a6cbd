"""Before the day: when and where, food and tablets, what to wash and bring, and when to phone first."""

from __future__ import annotations

import datetime as dt

from consent.case import Anaesthesia, Answer
from consent.compose.document import Document, Facts, Line, PicturedList, Section
from consent.compose.frame import finish, telephone
from consent.compose.pictures import pictogram
from consent.compose.voice import Voice
from consent.compose.which_eye import eye_box
from consent.review.assessment import Assessment
from consent.wording import remark

SHEET = "before-day"


def before_day(assessment: Assessment, voice: Voice) -> Document:
    """The composed sheet for the patient and whoever comes along; what the clinic has not set is a line to ask."""
    sections = (
        _when(assessment, voice),
        _eat(assessment, voice),
        _wash(voice),
        _bring(voice),
        _phone(assessment, voice),
    )
    footer = telephone(voice, assessment.clinic, "frame.footer-before")
    title = voice.line("before.title", eye=remark(f"eye.{assessment.case.eye.side}"))
    return finish(voice, assessment, SHEET, title, sections, footer=footer)


def _when(assessment: Assessment, voice: Voice) -> Section:
    plan, clinic = assessment.case.plan, assessment.clinic
    rows = [
        (voice.line("before.day"), voice.show(plan.date)),
        (voice.line("before.be-there"), _be_there(assessment, voice)),
    ]
    if plan.time is not None:
        rows.append((voice.line("before.surgery-at"), voice.show(plan.time)))
    where = f"{clinic.name}, {clinic.address}"
    rows.append((voice.line("label.place"), voice.quoted(f"{where}, {plan.place}" if plan.place else where)))
    # Who helps with the drops later was not asked to come along and take the patient home.
    rows.append((voice.line("before.with"), voice.line("before.with-somebody")))
    return Section("when", voice.line("before.when.heading"), (eye_box(assessment, voice), Facts(tuple(rows))))


def _be_there(assessment: Assessment, voice: Voice) -> Line:
    at, minutes = assessment.case.plan.time, assessment.clinic.before.arrive_minutes
    if at is None or minutes is None:
        return voice.line("before.ask")
    arrival = dt.datetime.combine(assessment.case.plan.date, at) - dt.timedelta(minutes=minutes)
    if arrival.date() != assessment.case.plan.date:
        return voice.line("before.be-there-on", date=arrival.date(), time=arrival.time())
    return voice.show(arrival.time())


def _eat(assessment: Assessment, voice: Voice) -> Section:
    """Food by the anaesthetic, the tablets this patient takes, and long-standing drops."""
    case, health = assessment.case, assessment.case.health
    items = [("fast_plate", _food(assessment, voice)), ("tablets", voice.line("before.tablets"))]
    if health.diabetes is Answer.YES:
        items.append(("", voice.line("before.sugar")))
    if Answer.YES in (health.anticoagulant, health.antiplatelet):
        items.append(("tablets", voice.line("before.thinner")))
    if health.alpha_blocker.ever is Answer.YES:
        items.append(("", voice.line("before.alpha")))
    if case.own_drops or case.eye.glaucoma_drops:
        items.append(("one_drop", voice.line("before.own-drops")))
    return Section("eat", voice.line("before.eat.heading"), (_listed(items),))


def _food(assessment: Assessment, voice: Voice) -> Line:
    hours = assessment.clinic.before.no_food_hours
    if assessment.case.plan.anaesthesia is Anaesthesia.GENERAL:
        return voice.line("before.eat.asleep")
    if hours is None:
        return voice.line("before.eat.ask")
    return voice.count("before.eat.none", hours) if hours else voice.line("before.eat.usual")


def _wash(voice: Voice) -> Section:
    names = {"wash": "head_bath", "no-kohl": "kohl", "clothes": ""}
    items = [(picture, voice.line(f"before.{name}")) for name, picture in names.items()]
    blocks = (_listed(items, crossed=("kohl",)),)
    return Section("wash", voice.line("before.wash.heading"), blocks)


def _bring(voice: Voice) -> Section:
    names = {"papers": "read", "bottles": "bag_of_bottles", "glasses": "dark_glasses"}
    items = [(picture, voice.line(f"before.bring.{name}")) for name, picture in names.items()]
    return Section("bring", voice.line("before.bring.heading"), (_listed(items),))


def _phone(assessment: Assessment, voice: Voice) -> Section:
    names = ["red", "fever", "chest"]
    if assessment.case.health.diabetes is Answer.YES:
        names.append("sugar")
    pictures = {"red": "red_eye"}
    items = [(pictures.get(name, ""), voice.line(f"before.phone.{name}")) for name in (*names, "mind")]
    return Section("phone", voice.line("before.phone.heading"), (_listed(items),))


def _listed(items: list[tuple[str, Line]], crossed: tuple[str, ...] = ()) -> PicturedList:
    """Lines with a picture where one says the same; a picture of something else would be worse than none."""
    drawn = ((pictogram(name, crossed=name in crossed) if name else "", words) for name, words in items)
    return PicturedList(tuple(drawn))
