"""The drops as plain words for a text message, on telephones without a calendar. No name, no diagnosis."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

from consent.case import Side
from consent.clinic import DropSettings
from consent.compose.drop_steps import printed_days
from consent.compose.drop_wall import not_decided
from consent.compose.phone import phone_limits
from consent.compose.voice import Voice, utter
from consent.drops import DaySessions, DropPlan, Drug, Ends, Form, Row, Session, Told
from consent.language import Day, Said, Speaker, Verbatim
from consent.review.assessment import Assessment
from consent.wording import remark

_DAY = dt.timedelta(days=1)

_GSM = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
_GSM_EXTENSION = frozenset("^{}\\[~]|€\f")
"""3GPP TS 23.038 section 6.2.1: the 7-bit default alphabet; 6.2.1.1: its extension, two septets for a character."""


@dataclass(frozen=True)
class Message:
    """The text, and in how many parts a telephone network carries it."""

    text: str
    parts: int


def drops_message(assessment: Assessment, voice: Voice) -> Message:
    """Return what is dropped from the first day this print is about, what is stopped or changed, visits, telephone.

    In the first language of ``voice``, with dates but no year, and no clock time but bedtime.
    """
    speaker = voice.speakers[0]
    text = "\n".join(said.plain for said in _lines(assessment, speaker))
    return Message(text, message_parts(text))


def message_parts(text: str) -> int:
    """How many parts of a text message ``text`` takes (3GPP TS 23.040 section 9.2.3.24.1).

    Characters of the 7-bit alphabet go 160 to a message or 153 to a part of several; with any other character all go
    as UTF-16 units, 70 to a message or 67 to a part. No character is split between two parts.
    """
    limits = phone_limits()
    if set(text) <= _GSM | _GSM_EXTENSION:
        return _parts(
            [2 if character in _GSM_EXTENSION else 1 for character in text],
            limits.gsm_single.value,
            limits.gsm_part.value,
        )
    units = [len(character.encode("utf-16-be")) // 2 for character in text]
    return _parts(units, limits.ucs2_single.value, limits.ucs2_part.value)


def _parts(sizes: list[int], single: int, part: int) -> int:
    if sum(sizes) <= single:
        return 1
    parts, used = 1, 0
    for size in sizes:
        if used + size > part:
            parts, used = parts + 1, 0
        used += size
    return parts


def _lines(assessment: Assessment, speaker: Speaker) -> Iterator[Said]:
    plan, phone = assessment.drops, assessment.clinic.telephone
    yield from _drops(assessment, speaker)
    yield from (_told(told, speaker) for told in plan.told if _is_news(told, plan))
    yield from (speaker.say("message.ask-name", drug=Verbatim(name)) for name in not_decided(assessment))
    yield from _waits(plan, assessment.clinic.drops, speaker)
    visits = sorted({visit.date for visit in assessment.case.all_visits if visit.date >= plan.issued_on})
    if visits:
        dates = Verbatim(", ".join(speaker.show(Day(date, "short")).plain for date in visits))
        yield speaker.say_count("message.visits", len(visits), dates=dates)
    yield speaker.say("message.telephone", day=Verbatim(phone.day), night=Verbatim(phone.night))


def _drops(assessment: Assessment, speaker: Speaker) -> Iterator[Said]:
    plan = assessment.drops
    steps = _steps(plan)
    if steps:
        yield speaker.say("message.title", date=Day(steps[0].first, "brief"))
    else:
        yield speaker.say("message.no-drops")
    if plan.changed_on or assessment.case.version > 1:
        yield speaker.say("message.replaces")
    for step in steps:
        yield _days(step.first, step.last, speaker)
        yield from (_dose(plan.row(dose.number), dose, speaker) for dose in step.doses)
    for row in plan.current:
        yield from _gaps(row, plan.issued_on, speaker)
        if row.ends is Ends.LONG_STANDING:
            yield speaker.say(_of(row.drug, "go-on"), date=Day(row.last, "short"), **_which(row, speaker))


@dataclass(frozen=True)
class _Dose:
    """What goes into an eye on a day out of one bottle or tube."""

    number: int
    times: int
    drops: int
    at_bedtime: bool


@dataclass(frozen=True)
class _Step:
    """Days in a row with the same doses. A message tells no clock times: days that differ in them alone are one."""

    first: dt.date
    last: dt.date
    doses: tuple[_Dose, ...]


def _steps(plan: DropPlan) -> list[_Step]:
    """Only days this print is about; a dose without a clock time is the clinic's."""
    found: list[_Step] = []
    for day in printed_days(plan):
        doses = tuple(_doses(plan, day))
        if found and found[-1].doses == doses and found[-1].last + _DAY == day.date:
            found[-1] = replace(found[-1], last=day.date)
        elif doses:
            found.append(_Step(day.date, day.date, doses))
    return found


def _doses(plan: DropPlan, day: DaySessions) -> Iterator[_Dose]:
    for row in plan.rows:
        phase, times = row.phase_on(day.number), len(day.times_of(row.number))
        if phase and times:
            yield _Dose(row.number, times, phase.drops_per_dose, phase.at_bedtime)


def _days(first: dt.date, last: dt.date, speaker: Speaker) -> Said:
    if first == last:
        return speaker.say("message.day", date=Day(first, "short"))
    return speaker.say("message.days", first=Day(first, "short"), last=Day(last, "short"))


def _dose(row: Row, dose: _Dose, speaker: Speaker) -> Said:
    which = _which(row, speaker)
    if dose.drops > 1 and dose.at_bedtime:
        return speaker.say("message.dose-bedtime-drops", drops=dose.drops, **which)
    if dose.at_bedtime:
        return speaker.say(_of(row.drug, "dose-bedtime"), **which)
    if dose.drops > 1:
        return speaker.say_count("message.dose-drops", dose.times, drops=dose.drops, **which)
    return speaker.say_count(_of(row.drug, "dose"), dose.times, **which)


def _gaps(row: Row, issued_on: dt.date, speaker: Speaker) -> Iterator[Said]:
    """Days without a drop inside a course: whoever reads that a bottle goes on would give it on them too."""
    which = _which(row, speaker)
    for before, after in pairwise(row.phases):
        first, last = max(before.last + _DAY, issued_on), after.first - _DAY
        if first == last:
            yield speaker.say(_of(row.drug, "gap-day"), date=Day(first, "short"), **which)
        elif first < last:
            yield speaker.say(_of(row.drug, "gap"), first=Day(first, "short"), last=Day(last, "short"), **which)


def _waits(plan: DropPlan, settings: DropSettings, speaker: Speaker) -> Iterator[Said]:
    """Minutes between two drops into one eye, and before an ointment, where a sitting of this print has them."""
    eyes = [forms for day in printed_days(plan) for session in day.sessions for forms in _by_eye(plan, session)]
    if any(len([form for form in forms if form is not Form.OINTMENT]) > 1 for forms in eyes):
        yield speaker.say_count("calendar.rule.wait", settings.gap_minutes)
    if any(Form.OINTMENT in forms and len(forms) > 1 for forms in eyes):
        yield speaker.say_count("message.wait-ointment", max(settings.gap_minutes, settings.ointment_gap_minutes))


def _by_eye(plan: DropPlan, session: Session) -> Iterator[list[Form]]:
    rows = [plan.row(number) for number, _ in session.drops]
    return ([row.drug.form for row in rows if row.side is side] for side in Side)


def _of(drug: Drug, words: str) -> str:
    """Id of a message about a bottle, or about a tube: an ointment comes in no bottle."""
    return f"message.tube-{words}" if drug.form is Form.OINTMENT else f"message.{words}"


def _which(row: Row, speaker: Speaker) -> dict[str, int | Said]:
    return {"bottle": row.number, "eye": utter(speaker, remark(f"eye.{row.side}"))}


def _is_news(told: Told, plan: DropPlan) -> bool:
    """Whether this print is the one to tell it: an end before an earlier change was told then."""
    return told.word != "changed" or told.date is None or told.date >= plan.issued_on - _DAY


def _told(told: Told, speaker: Speaker) -> Said:
    eye = utter(speaker, remark(f"eye.{told.side}"))
    drug = Verbatim(told.drug.name)
    say: Callable[..., Said] = speaker.say
    if told.word == "changed" and told.date is not None:
        return say(_of(told.drug, "changed"), bottle=told.number, eye=eye, date=Day(told.date, "short"))
    if told.word == "changed":
        return say(_of(told.drug, "not-begun"), bottle=told.number, eye=eye)
    if told.date is not None:
        return say("message.pause", drug=drug, eye=eye, date=Day(told.date, "short"))
    return say(f"message.{told.word}", drug=drug, eye=eye)
