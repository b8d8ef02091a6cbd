"""What the desk and the surgeon see of a whole day: a checklist, what needs the surgeon, and slips between packs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence

from consent.case import Answer, Asked, Case
from consent.clinic import Clinic
from consent.compose.document import Document, Facts, Line, Section, Table
from consent.compose.frame import finish_list
from consent.compose.signing import needs_reader
from consent.compose.voice import Voice, joined
from consent.language import Tongue, Verbatim
from consent.review import Severity
from consent.review.assessment import Assessment
from consent.wording import remark

CHECKLIST, SUMMARY, SLIPS = "desk-checklist", "surgeon-summary", "slips"
_ORDER = {Severity.STOP: 0, Severity.ASK: 1}


Placed = tuple[int, Assessment]
"""A patient with the place in the list, which is the same on the slip, the checklist and the summary."""


def desk_checklist(patients: Sequence[Placed], day: dt.date, voice: Voice, failed: frozenset[str]) -> Document:
    """Each patient in the order of the list: language and reading, who comes along, what is missing, lines to tick.

    ``failed``: record numbers of those for whom no papers could be made.
    """
    head = _head(voice, "list.head.place", "list.head.patient", *(f"day-sheet.head.{name}" for name in _COLUMNS))
    rows = tuple(_check(place, patient, voice, failed) for place, patient in patients)
    section = Section("checklist", voice.line("day-sheet.desk.heading"), (Table(head, rows, style="checklist"),))
    return _of_all(patients, day, voice, CHECKLIST, voice.line("day-sheet.desk.title", date=day), section)


_COLUMNS = ("reads", "comes", "missing", "done")


def _check(place: int, assessment: Assessment, voice: Voice, failed: frozenset[str]) -> tuple[Line, ...]:
    case = assessment.case
    missing = list(_missing(assessment, voice))
    if case.patient.record_number in failed:
        missing.insert(0, voice.line("day-sheet.no-papers"))
    return (
        voice.show(place),
        _who(case, voice),
        joined(list(_reading(case, voice)), ", "),
        voice.line(f"day-sheet.comes.{case.plan.companion}"),
        joined(missing, "; ") if missing else voice.line("list.nothing"),
        voice.show(Verbatim("___ / ___ / ___")),
    )


def _who(case: Case, voice: Voice) -> Line:
    eye = voice.line(f"eye.{case.eye.side}")
    return joined([voice.quoted(case.patient.name), voice.show(case.patient.record_number), eye], ", ")


def _reading(case: Case, voice: Voice) -> Iterator[Line]:
    patient = case.patient
    reads = "unknown" if patient.reads is Answer.UNKNOWN else "no" if needs_reader(case) else "yes"
    yield voice.line(f"day-sheet.reads.{reads}", language=Tongue(patient.language))
    if patient.interpreter_needed is Answer.YES:
        yield voice.line("day-sheet.interpreter")


def _missing(assessment: Assessment, voice: Voice) -> Iterator[Line]:
    case = assessment.case
    if case.talk.at is None:
        yield voice.line("day-sheet.missing.talk")
    if case.plan.lens is None:
        yield voice.line("day-sheet.missing.lens")
    elif case.plan.lens.on_shelf is not Answer.YES:
        yield voice.line("day-sheet.missing.shelf")
    if case.health.allergies.asked is Asked.NOT_ASKED:
        yield voice.line("list.allergies-not-asked")
    for driver in assessment.risks["capsule_rupture"].drivers:
        if not driver.known:
            yield voice.line("day-sheet.missing.factor", factor=remark(f"factor.{driver.factor}"))


def surgeon_summary(patients: Sequence[Placed], day: dt.date, voice: Voice, failed: frozenset[str]) -> Document:
    """Every patient: those without papers first, then most stops, then most questions, then as on the list."""
    head = _head(
        voice,
        "list.head.place",
        "list.head.patient",
        *(f"day-sheet.head.{name}" for name in ("stops", "asks", "drives")),
    )
    placed = sorted(patients, key=lambda pair: (*_weight(pair[1], failed), pair[0]))
    rows = tuple(_summed(place, patient, voice, failed) for place, patient in placed)
    section = Section("summary", voice.line("day-sheet.summary.heading"), (Table(head, rows, style="summary"),))
    return _of_all(patients, day, voice, SUMMARY, voice.line("day-sheet.summary.title", date=day), section)


def _weight(assessment: Assessment, failed: frozenset[str]) -> tuple[bool, int, int]:
    count = {severity: sum(one.severity is severity and one.open for one in assessment.points) for severity in _ORDER}
    is_made = assessment.case.patient.record_number not in failed
    return is_made, -count[Severity.STOP], -count[Severity.ASK]


def _summed(place: int, assessment: Assessment, voice: Voice, failed: frozenset[str]) -> tuple[Line, ...]:
    nothing = voice.line("list.nothing")
    stops, asks = (
        [voice.remark(one.title) for one in assessment.points if one.severity is severity and one.open]
        for severity in _ORDER
    )
    if assessment.case.patient.record_number in failed:
        stops.insert(0, voice.line("day-sheet.no-papers"))
    drives = [voice.remark(remark(f"factor.{driver.factor}")) for driver in assessment.risks["capsule_rupture"].drivers]
    cells = [joined(found, "; ") if found else nothing for found in (stops, asks, drives)]
    return (voice.show(place), _who(assessment.case, voice), *cells)


def slips(
    patients: Sequence[tuple[Case, int, int]], clinic: Clinic, count: int, day: dt.date, voice: Voice
) -> Document:
    """One page a patient, to lie in front of the pack: place in the list, name, number, eye in words, pages.

    ``patients``: case, place and pages of each; ``count``: patients of the whole day. No illness is named.
    """
    sections = tuple(
        Section(f"slip-{place}", voice.line("day-sheet.slip.title"), (_slip(case, place, pages, count, voice),), "slip")
        for case, place, pages in patients
    )
    invented = any(case.invented for case, _, _ in patients)
    return finish_list(voice, clinic, SLIPS, voice.line("list.title", date=day), day, invented, sections)


def _slip(case: Case, place: int, pages: int, count: int, voice: Voice) -> Facts:
    told = voice.show(pages) if pages else voice.line("day-sheet.no-papers")
    return Facts(
        (
            (voice.line("list.head.place"), voice.line("day-sheet.slip.place", place=place, count=count)),
            (voice.line("list.head.patient"), voice.quoted(case.patient.name)),
            (voice.line("label.record-number"), voice.show(case.patient.record_number)),
            (voice.line("day-sheet.slip.eye"), voice.line(f"eye.{case.eye.side}")),
            (voice.line("day-sheet.slip.pages"), told),
        )
    )


def _head(voice: Voice, *messages: str) -> tuple[Line, ...]:
    return tuple(voice.line(message) for message in messages)


def _of_all(
    patients: Sequence[Placed], day: dt.date, voice: Voice, sheet: str, title: Line, section: Section
) -> Document:
    invented = any(patient.case.invented for _, patient in patients)
    return finish_list(voice, patients[0][1].clinic, sheet, title, day, invented, (section,))
