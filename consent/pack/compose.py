"""The order of work for one case: assess, compose, prove completeness on the composed form, compose the review last."""

from __future__ import annotations

from dataclasses import dataclass

from consent.case import Case
from consent.clinic import Clinic
from consent.compose import (
    Document,
    Paper,
    SheetWords,
    Voice,
    consent_form,
    counsellor_guide,
    decision_paper,
    drop_calendar,
    going_home,
    review_sheet,
)
from consent.compose.decision import SHEET as DECISION
from consent.compose.decision import is_wanted
from consent.errors import IncompleteError, Problem, UsageError
from consent.language import Quoted, Speaker, languages, release_of
from consent.review import (
    Assessment,
    Composed,
    Point,
    Row,
    assess,
    by_severity,
    completeness,
    completeness_points,
    profile,
)

FORM = "consent-form"
SHEETS = ("consent-form", "counsellor-guide", "going-home", "drop-calendar", "decision", "surgeon-review")


@dataclass(frozen=True)
class Pack:
    """All composed sheets of one case, the assessment they rest on, and what the review found."""

    assessment: Assessment
    documents: tuple[Document, ...]
    points: tuple[Point, ...]
    completeness: tuple[Row, ...]
    words: tuple[SheetWords, ...]

    @property
    def lacking(self) -> tuple[Row, ...]:
        """What the consent form must hold and does not; while there is any, it is not among the documents."""
        return tuple(row for row in self.completeness if row.blocks)


def refuse_incomplete(pack: Pack) -> None:
    """Raise ``IncompleteError`` naming each element the consent form lacks; nothing where it lacks none."""
    if pack.lacking:
        raise IncompleteError(_problem(row, pack.assessment.clinic.profile) for row in pack.lacking)


def _problem(row: Row, name: str) -> Problem:
    element = row.element
    return Problem(
        row.lacking,
        f"profile {name}: {element.id}",
        f"{element.level} by {element.source}",
        "enter what is missing in the case or the clinic's settings; the surgeon's review lists every element",
    )


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

    A form that lacks what its profile demands is left out, and ``Pack.lacking`` says what.
    The form holds all the languages side by side; the other patient sheets come once in each; the surgeon's review
    comes in the clinic's language, or in each of ``wanted`` where given. Raises ``LanguageError``, ``DropsError``
    or ``UsageError``.
    """
    tags = _tags(case, clinic, wanted)
    assessment = assess(case, clinic)
    spoken: list[tuple[Document, Voice]] = []
    for together in (consent_form, counsellor_guide, *((decision_paper,) if is_wanted(assessment) else ())):
        voice = Voice(tags, clinic.digits)
        spoken.append((together(assessment, voice), voice))
    for tag in tags:
        voice = Voice((tag,), clinic.digits)
        spoken.append((going_home(assessment, voice, large), voice))
        voice = Voice((tag,), clinic.digits)
        calendar_paper: Paper = paper if "drop-calendar" in sheets else "A4"
        spoken.append((drop_calendar(assessment, voice, calendar_paper, large), voice))
    rows = proved(assessment, spoken)
    points = by_severity((*assessment.points, *completeness_points(rows, case.answers)))
    words = tuple(entry for document, voice in spoken for entry in sheet_words(document, voice))
    documents = [document for document, _ in spoken]
    for tag in wanted or (clinic.language,):
        documents.append(review_sheet(assessment, Voice((tag,), clinic.digits), points, rows, words))
    refused = any(row.blocks for row in rows)
    chosen = tuple(
        document for document in documents if document.sheet in sheets and not (refused and document.sheet == FORM)
    )
    return Pack(assessment, chosen, points, rows, words)


def proved(assessment: Assessment, spoken: list[tuple[Document, Voice]]) -> tuple[Row, ...]:
    """Completeness of the composed sheets, the form first, against the clinic's profile and what it demands besides."""
    clinic, (form, voice) = assessment.clinic, spoken[0]
    # What is signed on a paper for a no is not signed on the form.
    sheets = [document for document, _ in spoken if document.sheet != DECISION]
    anchors = tuple(anchor for document in sheets for anchor in document.anchors())
    texts = {
        speaker.tag: _without_own_words(form.texts_by_language()[speaker.tag], assessment.case, speaker)
        for speaker in voice.speakers
    }
    composed = Composed(anchors, texts, voice.used())
    return completeness(profile(clinic.profile, clinic.required_elements), assessment, composed)


def _without_own_words(texts: tuple[str, ...], case: Case, speaker: Speaker) -> tuple[str, ...]:
    """``texts`` without what the patient said, in its quotation marks: a question about a blanket clause is not one."""
    said = (
        case.patient.what_matters_in_own_words,
        case.talk.outcome_words,
        *(asked.question for asked in case.talk.questions),
    )
    for words in said:
        if words:
            printed = f"“{speaker.show(Quoted(words)).plain}”"
            texts = tuple(text.replace(printed, "") for text in texts)
    return texts


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
