"""What every sheet carries: whose it is, which eye, which version, and what it is not yet."""

from __future__ import annotations

import datetime as dt

from consent.case import Answer
from consent.clinic import Clinic
from consent.compose.document import Document, Line, Paper, Section
from consent.compose.voice import Voice
from consent.language import Day, Quoted, Verbatim, release_of
from consent.review.assessment import Assessment
from consent.wording import remark

PAGE, PAGES = "@page@", "@pages@"
"""Where the printer puts the page counters in the words of the page number."""


def header(voice: Voice, assessment: Assessment) -> Line:
    """Record number, name, eye in words and version: enough to trace a loose page."""
    case = assessment.case
    return voice.line(
        "frame.header",
        clinic=Quoted(assessment.clinic.name),
        name=Quoted(case.patient.name),
        number=case.patient.record_number,
        eye=remark(f"eye.{case.eye.side}"),
        version=case.version,
    )


def marks(voice: Voice, assessment: Assessment, patient_sheet: bool) -> tuple[Line, ...]:
    """What is said at the head of every page: draft, or who signed it off; then that words are not released."""
    found = [standing(voice, assessment)]
    if patient_sheet and not is_released(voice, assessment.clinic):
        found.append(voice.line("frame.practice"))
    if assessment.case.invented or assessment.clinic.invented:
        found.append(voice.line("frame.invented"))
    return tuple(found)


def standing(voice: Voice, assessment: Assessment) -> Line:
    """That this is a draft; or who signed it off, under which registration, and when by the clinic's clock."""
    signed = assessment.signed_off
    if signed is None:
        return voice.line("frame.draft")
    at = local(signed.at, assessment.clinic)
    return voice.line(
        "frame.signed-off",
        name=Quoted(signed.by),
        registration=signed.registration,
        date=Day(at.date()),
        time=at.time(),
    )


def is_released(voice: Voice, clinic: Clinic) -> bool:
    """Whether every message said so far stands on a rung that may be signed, in every language of the sheet."""
    return all(release_of(ids, tag, reviewed=clinic.words_folder).may_be_signed for tag, ids in voice.used().items())


def telephone(voice: Voice, clinic: Clinic, words: str = "label.telephone", **slots: object) -> Line:
    """The message ``words`` with the numbers to call by day and at night."""
    return voice.line(words, day=unbroken(clinic.telephone.day), night=unbroken(clinic.telephone.night), **slots)


def telephone_footer(voice: Voice, assessment: Assessment) -> Line:
    """The warning signs in one line and the telephone, for every page that goes home."""
    return telephone(voice, assessment.clinic, "frame.footer")


def local(moment: dt.datetime, clinic: Clinic) -> dt.datetime:
    """``moment`` on the clinic's own clock, whatever zone it was entered in."""
    from zoneinfo import ZoneInfo

    return moment.astimezone(ZoneInfo(clinic.time_zone))


def unbroken(telephone: str) -> str:
    """The number with spaces that no line breaks at."""
    return telephone.replace(" ", "\u00a0")


def finish(
    voice: Voice,
    assessment: Assessment,
    sheet: str,
    title: Line,
    sections: tuple[Section, ...],
    layout: str = "portrait",
    take_home: bool = False,
    patient_sheet: bool = True,
    for_staff: bool = False,
    paper: Paper = "A4",
    large: bool = False,
    footer: Line | None = None,
    title_elements: tuple[str, ...] = (),
) -> Document:
    """The document with its frame. Called last, when every word of the sheet has been said.

    ``take_home``: warning signs and telephone at the foot of each page, else ``footer``. ``for_staff``: never in the
    patient's large print.
    """
    footer = telephone_footer(voice, assessment) if take_home else footer
    head, page = header(voice, assessment), voice.line("frame.page", page=Verbatim(PAGE), pages=Verbatim(PAGES))
    return Document(
        sheet=sheet,
        layout=layout,
        title=title,
        languages=tuple((speaker.tag, speaker.direction) for speaker in voice.speakers),
        header=head,
        marks=marks(voice, assessment, patient_sheet),
        page_label=page,
        sections=sections,
        footer=footer,
        large=patient_sheet and not for_staff and (large or assessment.case.patient.large_print is Answer.YES),
        paper=paper,
        title_elements=title_elements,
    )


def finish_list(
    voice: Voice,
    clinic: Clinic,
    sheet: str,
    title: Line,
    day: dt.date,
    invented: bool,
    sections: tuple[Section, ...],
) -> Document:
    """The document of a sheet about several patients: for staff only, so that no page goes home."""
    marks_ = [voice.line("frame.staff-only"), voice.line("frame.draft")]
    if invented or clinic.invented:
        marks_.append(voice.line("frame.invented"))
    return Document(
        sheet=sheet,
        layout="list",
        title=title,
        languages=tuple((speaker.tag, speaker.direction) for speaker in voice.speakers),
        header=voice.line("frame.header-list", clinic=Quoted(clinic.name), date=day),
        marks=tuple(marks_),
        page_label=voice.line("frame.page", page=Verbatim(PAGE), pages=Verbatim(PAGES)),
        sections=sections,
    )
