"""The drop calendar as a QR code, for a telephone that gets no file."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from functools import partial

from consent.compose.entry import key_of, short_summary, summary
from consent.compose.phone import phone_limits
from consent.compose.voice import Voice
from consent.drops import DropPlan
from consent.drops.events import Run, issued_on, make_runs
from consent.drops.told_before import uid_of, uid_prefix
from consent.review.assessment import Assessment


def calendar_code(assessment: Assessment, voice: Voice) -> str | None:
    """Return every sitting this print is about as a QR code, an SVG of one path with class "code"; ``None`` if it
    would be too fine to scan from paper, or there is no sitting.

    Words are those of the calendar file in the first language of ``voice`` if they fit, else eye and bottles alone.
    Print it 48 mm wide or more, margin of 4 modules included: the finest code, version 25, then has modules of 0.38 mm.
    """
    speaker, plan = voice.speakers[0], assessment.drops
    for words in (summary, short_summary):
        text = code_text(plan, partial(words, speaker=speaker), key_of(assessment), assessment.case.version)
        drawn = code_svg(text) if text else None
        if drawn:
            return drawn
    return None


def code_text(plan: DropPlan, say: Callable[[Run], str], key: str, version: int = 1) -> str:
    """Return the sittings as a VCALENDAR of local times without a zone (RFC 5545 section 3.3.5, form 1), else "".

    UIDs and SEQUENCE are those of the calendar file, so that one who uses both has each sitting once. A sheet knows no
    clock: DTSTAMP is the first day this print is about. There are no alarms: a telephone's own reminder rings.
    """
    from icalendar import Calendar, Event

    calendar = Calendar()
    calendar.add("version", "2.0")
    calendar.add("prodid", "-//drops//EN")
    stamp = dt.datetime.combine(issued_on(plan), dt.time(), dt.UTC)
    for run in make_runs(plan, issued_on(plan)):
        event = Event()
        event.add("uid", uid_of(run, uid_prefix(key)))
        event.add("dtstamp", stamp)
        if version > 1:
            event.add("sequence", version - 1)
        event.add("dtstart", run.first)
        if run.days > 1:
            event.add("rrule", {"freq": "DAILY", "count": run.days})
        event.add("summary", say(run))
        calendar.add_component(event)
    return calendar.to_ical(sorted=False).decode() if calendar.subcomponents else ""


def code_svg(text: str) -> str | None:
    """Return ``text`` as a QR code, or ``None`` where it needs more modules than paper and camera keep apart."""
    import segno

    limits = phone_limits()
    try:
        code = segno.make_qr(text, error="l", encoding="utf-8")
    except segno.DataOverflowError:
        return None
    if int(code.version) > limits.largest_version.value:
        return None
    return code.svg_inline(border=limits.quiet_modules.value, svgclass="code", lineclass=None, omitsize=True)
