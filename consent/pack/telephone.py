"""What goes to telephones: the calendar file, and the text of a message."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path

from consent.case import Case
from consent.clinic import Clinic
from consent.compose import Voice, utter
from consent.compose.entry import calendar_entry, calendar_key, key_of
from consent.compose.message import Message, drops_message
from consent.drops import DropPlan, Order, VisitEntry, drops_calendar, make_plan, order_of
from consent.drops.calendar_file import Before
from consent.errors import MachineError, Problem
from consent.language import languages
from consent.pack.compose import Pack
from consent.wording import remark


def calendar_file(pack: Pack, now: datetime, old: Path | None = None) -> bytes | None:
    """The drops and visits as iCalendar (RFC 5545) in the patient's language; no diagnosis in any text.

    ``old``: where the calendar file of an earlier version may lie, of this eye or of the one operated on first; what
    no longer holds of it is taken back. ``None`` if there is nothing to write. Raises ``DropsError`` if the old file
    cannot be read or is of a later version.
    """
    assessment = pack.assessment
    case, clinic, speaker = assessment.case, assessment.clinic, _voice(pack).speakers[0]
    return drops_calendar(
        assessment.drops,
        lambda run: calendar_entry(run, speaker),
        visits=[VisitEntry(visit.date, speaker.say("calendar.visit").plain) for visit in case.all_visits],
        name=speaker.say("calendar.title", eye=utter(speaker, remark(f"eye.{case.eye.side}"))).plain,
        key=key_of(assessment),
        now=now,
        void=speaker.say("phone.void").plain,
        version=case.version,
        timezone=clinic.time_zone,
        before=_before(pack, old),
    )


def text_message(pack: Pack) -> Message:
    """The drops as a text message in the patient's language."""
    return drops_message(pack.assessment, _voice(pack))


def spoken(pack: Pack) -> str:
    """Tag of the patient's language, or of the clinic's where nobody wrote words in the patient's."""
    own = pack.assessment.case.patient.language
    return own if own in languages() else pack.assessment.clinic.language


def _voice(pack: Pack) -> Voice:
    return Voice((spoken(pack),), pack.assessment.clinic.digits)


def _before(pack: Pack, old: Path | None) -> Before:
    case, clinic = pack.assessment.case, pack.assessment.clinic
    order = replace(order_of(case, clinic), regimen=pack.assessment.drops.regimen.id)
    plans = (make_plan(replace(order, changes=order.changes[:count]), clinic) for count in range(len(order.changes)))
    return Before(_read(old), str(old), tuple(plans), _other_eye(case, clinic, order))


def _read(old: Path | None) -> bytes | None:
    try:
        return old.read_bytes() if old is not None and old.exists() else None
    except OSError as failure:
        raise MachineError(
            Problem(
                f"the calendar file of an earlier version cannot be read ({failure.strerror or 'unknown reason'})",
                str(old),
                "drops it put on a telephone could not be taken back",
                "make it readable, or move it away",
            )
        ) from failure


def _other_eye(case: Case, clinic: Clinic, order: Order) -> tuple[str, DropPlan] | None:
    """Key and plan of the calendar of the eye operated on first, as far as this case tells it."""
    if order.other_eye is None:
        return None
    regimen, operated_on = order.other_eye
    first = replace(
        order,
        regimen=regimen,
        where="other_eye.regimen",
        side=order.side.other,
        surgery=operated_on,
        start=None,
        other_eye=None,
        changes=(),
    )
    return calendar_key(clinic, case.patient.record_number, first.side), make_plan(first, clinic)
