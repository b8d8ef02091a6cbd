"""The drops as plain words for a text message, on telephones without a calendar. No name, no diagnosis."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from consent.compose.drop_steps import steps_of
from consent.compose.phone import phone_limits
from consent.compose.voice import Voice, utter
from consent.drops import DropPlan, Ends, Row, Told
from consent.drops.events import issued_on
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

    In the first language of ``voice``, with dates but no year.
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
    yield from _drops(plan, speaker)
    yield from (_told(told, speaker) for told in plan.told if _is_news(told, plan))
    if any(len(session.drops) > 1 for day in plan.sessions if day.date >= issued_on(plan) for session in day.sessions):
        yield speaker.say_count("calendar.rule.wait", assessment.clinic.drops.gap_minutes)
    visits = sorted({visit.date for visit in assessment.case.visits if visit.date >= issued_on(plan)})
    if visits:
        dates = Verbatim(", ".join(speaker.show(Day(date, "short")).plain for date in visits))
        yield speaker.say_count("message.visits", len(visits), dates=dates)
    yield speaker.say("message.telephone", day=Verbatim(phone.day), night=Verbatim(phone.night))


def _drops(plan: DropPlan, speaker: Speaker) -> Iterator[Said]:
    steps = [step for step in steps_of(plan) if step[1] >= issued_on(plan)]
    if not steps:
        yield speaker.say("message.no-drops")
        return
    yield speaker.say("message.title", date=Day(max(steps[0][0], issued_on(plan)), "brief"))
    if plan.changed_on:
        yield speaker.say("message.replaces")
    for first, last, doses in steps:
        yield _days(max(first, issued_on(plan)), last, speaker)
        for row, (times, drops) in zip(plan.rows, doses, strict=True):
            if times:
                yield _dose(row, times, drops, speaker)
    for row in plan.current:
        if row.ends is Ends.LONG_STANDING:
            yield speaker.say("message.go-on", date=Day(row.last, "short"), **_which(row, speaker))


def _days(first: dt.date, last: dt.date, speaker: Speaker) -> Said:
    if first == last:
        return speaker.say("message.day", date=Day(first, "short"))
    return speaker.say("message.days", first=Day(first, "short"), last=Day(last, "short"))


def _dose(row: Row, times: int, drops: int, speaker: Speaker) -> Said:
    if drops > 1:
        return speaker.say_count("message.dose-drops", times, drops=drops, **_which(row, speaker))
    return speaker.say_count("message.dose", times, **_which(row, speaker))


def _which(row: Row, speaker: Speaker) -> dict[str, int | Said]:
    return {"bottle": row.number, "eye": utter(speaker, remark(f"eye.{row.side}"))}


def _is_news(told: Told, plan: DropPlan) -> bool:
    """Whether this print is the one to tell it: an end before an earlier change was told then."""
    return told.word != "changed" or told.date is None or told.date >= issued_on(plan) - _DAY


def _told(told: Told, speaker: Speaker) -> Said:
    eye = utter(speaker, remark(f"eye.{told.side}"))
    drug = Verbatim(told.drug.name)
    say: Callable[..., Said] = speaker.say
    if told.word == "changed" and told.date is not None:
        return say("message.changed", bottle=told.number, eye=eye, date=Day(told.date, "short"))
    if told.word == "changed":
        return say("message.not-begun", bottle=told.number, eye=eye)
    if told.date is not None:
        return say("message.pause", drug=drug, eye=eye, date=Day(told.date, "short"))
    return say(f"message.{told.word}", drug=drug, eye=eye)
