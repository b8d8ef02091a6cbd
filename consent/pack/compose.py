"""The order of work for one case: assess, compose, prove completeness on the composed form, compose the review last."""

from __future__ import annotations

from dataclasses import dataclass

from consent.case import Case
from consent.clinic import Clinic
from consent.compose import Document, Paper, SheetWords, Voice, consent_form, drop_calendar, going_home, review_sheet
from consent.errors import Problem, UsageError
from consent.language import languages, release_of
from consent.review import (
    Assessment,
    Point,
    Row,
    assess,
    by_severity,
    completeness,
    completeness_points,
    profile,
)

SHEETS = ("consent-form", "going-home", "drop-calendar", "surgeon-review")
_IN_OWN_WORDS = frozenset({"matters"})
"""Sections that quote the patient: a question about blanket clauses is not one."""


@dataclass(frozen=True)
class Pack:
    """All composed sheets of one case, the assessment they rest on, and what the review found."""

    assessment: Assessment
    documents: tuple[Document, ...]
    points: tuple[Point, ...]
    completeness: tuple[Row, ...]
    words: tuple[SheetWords, ...]


def compose_pack(
    case: Case,
    clinic: Clinic,
    wanted: tuple[str, ...] = (),
    sheets: tuple[str, ...] = SHEETS,
    paper: Paper = "A4",
    large: bool = False,
) -> Pack:
    """Compose ``sheets`` of ``case``. ``wanted`` are language tags, the patient's and the clinic's by default.

    ``paper`` is that of the drop calendar; ``large`` prints the take-home sheets large, whatever the case says.

    The form holds all the languages side by side; the other patient sheets come once in each; the surgeon's review
    comes in the clinic's language, or in each of ``wanted`` where given. Raises ``LanguageError``, ``DropsError``
    or ``UsageError``.
    """
    tags = _tags(case, clinic, wanted)
    assessment = assess(case, clinic)
    spoken: list[tuple[Document, Voice]] = []
    form_voice = Voice(tags, clinic.digits)
    form = consent_form(assessment, form_voice)
    spoken.append((form, form_voice))
    for tag in tags:
        voice = Voice((tag,), clinic.digits)
        spoken.append((going_home(assessment, voice, large), voice))
        voice = Voice((tag,), clinic.digits)
        calendar_paper: Paper = paper if "drop-calendar" in sheets else "A4"
        spoken.append((drop_calendar(assessment, voice, calendar_paper, large), voice))
    rows = completeness(profile(clinic.profile), case, form.anchors(), form.texts(without=_IN_OWN_WORDS))
    points = by_severity((*assessment.points, *completeness_points(rows, case.answers)))
    words = tuple(entry for document, voice in spoken for entry in sheet_words(document, voice))
    documents = [document for document, _ in spoken]
    for tag in wanted or (clinic.language,):
        documents.append(review_sheet(assessment, Voice((tag,), clinic.digits), points, rows, words))
    chosen = tuple(document for document in documents if document.sheet in sheets)
    return Pack(assessment, chosen, points, rows, words)


def sheet_words(document: Document, voice: Voice) -> tuple[SheetWords, ...]:
    """How far the words of ``document`` were checked, language by language."""
    found = []
    for tag, ids in voice.used().items():
        state = release_of(ids, tag)
        found.append(
            SheetWords(document.sheet, tag, state.lowest, len(state.stale), len(state.missing), state.may_be_signed)
        )
    return tuple(found)


def _tags(case: Case, clinic: Clinic, wanted: tuple[str, ...]) -> tuple[str, ...]:
    tags = tuple(dict.fromkeys(wanted or (case.patient.language, clinic.language)))
    known = languages()
    missing = [tag for tag in tags if tag not in known]
    if missing:
        raise UsageError(
            Problem(
                f'there are no words in "{missing[0]}"',
                "language",
                "a sheet in a language nobody wrote would be empty",
                f"choose from: {', '.join(known)}, name an interpreter, and print in a language both can read",
            )
        )
    return tags
