"""The order of work for one case: assess, compose, prove completeness on the composed form, compose the review last."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from consent.case import Case
from consent.clinic import Clinic
from consent.compose import (
    Document,
    Paper,
    SheetWords,
    Voice,
    before_day,
    consent_form,
    counsellor_guide,
    day_of_surgery,
    decision,
    decision_paper,
    drop_calendar,
    going_home,
    lens_card,
    not_to_plan,
    referral_letter,
    review_sheet,
    risk_sheet,
    separate_choices,
)
from consent.errors import IncompleteError, Problem, UsageError
from consent.language import Quoted, Speaker, languages, release_of
from consent.review import (
    Assessment,
    Composed,
    Point,
    Row,
    SignOff,
    assess,
    by_severity,
    completeness,
    completeness_points,
    profile,
)

FORM = "consent-form"
SHEETS = (
    FORM,
    "risk-sheet",
    "separate-choices",
    "counsellor-guide",
    "decision",
    "before-day",
    "day-of-surgery",
    "going-home",
    "drop-calendar",
    "not-to-plan",
    "referral-letter",
    "lens-card",
    "surgeon-review",
)
"""Every sheet of one case, in the order in which they are used."""
FOR_PATIENTS = frozenset(
    {
        FORM,
        "risk-sheet",
        "separate-choices",
        "decision",
        "before-day",
        "going-home",
        "drop-calendar",
        "not-to-plan",
        "lens-card",
    }
)
"""What a patient signs, keeps or takes home; the others are for staff."""
READ_ALOUD = ("going-home", "drop-calendar")
"""What is also read aloud, where that was asked for."""
BEFORE_SURGERY = SHEETS[: SHEETS.index("going-home")]
"""Sheets of the plan: once the operation is done, they are on record and are not made again."""

Compose = Callable[[Assessment, Voice], Document]
Wanted = Callable[[Assessment], bool]


def _always(_: Assessment) -> bool:
    return True


_TOGETHER: tuple[tuple[Compose, Wanted], ...] = (
    (consent_form, _always),
    (risk_sheet, _always),
    (separate_choices, _always),
    (counsellor_guide, _always),
    (decision_paper, decision.is_wanted),
    (lens_card.lens_card, lens_card.is_needed),
)
"""Sheets with all languages side by side, the form first, and for which cases each is made."""
_BY_LANGUAGE: tuple[tuple[Compose, Wanted], ...] = (
    (before_day, _always),
    (not_to_plan.not_to_plan, not_to_plan.is_needed),
)
"""Sheets for home that come once in each language."""
_OF_THE_CLINIC: tuple[tuple[Compose, Wanted], ...] = (
    (day_of_surgery, _always),
    (referral_letter.referral_letter, referral_letter.is_needed),
)
"""Sheets for staff: in the clinic's language, or in each of those asked for."""


@dataclass(frozen=True)
class Pack:
    """All composed sheets of one case, the assessment they rest on, and what the review found."""

    assessment: Assessment
    documents: tuple[Document, ...]
    points: tuple[Point, ...]
    completeness: tuple[Row, ...]
    words: tuple[SheetWords, ...]
    said: Mapping[str, frozenset[str]]
    """Ids of the messages that were said on each sheet, whatever the language."""

    @property
    def lacking(self) -> tuple[Row, ...]:
        """What the consent form must hold and does not; while there is any, it is not among the documents.

        Nothing once the operation is done: the form that was signed is on record, and none is made.
        """
        if self.assessment.case.done is not None:
            return ()
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
    signed_off: SignOff | None = None,
) -> Pack:
    """Compose ``sheets`` of ``case``. ``wanted`` are language tags, the patient's and the clinic's by default.

    ``paper`` is that of the drop calendar; ``large`` prints the take-home sheets large, whatever the case says.
    ``signed_off`` stands in the head of every page, where a draft says that it is one.

    A form that lacks what its profile demands is left out, and ``Pack.lacking`` says what. Once the operation is done,
    the sheets of the plan are not made again, and asking for nothing but them is a ``UsageError``.
    The form holds all the languages side by side; the sheets for home come once in each; those for staff come in the
    clinic's language, or in each of ``wanted`` where given. Raises ``LanguageError``, ``DropsError`` or ``UsageError``.
    """
    tags = _tags(case, clinic, wanted)
    assessment = assess(case, clinic, signed_off)
    _refuse_the_past(case, sheets)
    spoken: list[tuple[Document, Voice]] = []

    def say(compose: Compose, *languages: str) -> None:
        voice = Voice(languages, clinic.digits)
        spoken.append((compose(assessment, voice), voice))

    calendar_paper: Paper = paper if "drop-calendar" in sheets else "A4"
    for together, is_made in _TOGETHER:
        if is_made(assessment):
            say(together, *tags)
    for tag in tags:
        for for_home, is_made in _BY_LANGUAGE:
            if is_made(assessment):
                say(for_home, tag)
        say(lambda found, voice: going_home(found, voice, large), tag)
        say(lambda found, voice: drop_calendar(found, voice, calendar_paper, large), tag)
    for tag in wanted or (clinic.language,):
        for for_staff, is_made in _OF_THE_CLINIC:
            if is_made(assessment):
                say(for_staff, tag)
    rows = proved(assessment, spoken)
    lacking = () if case.done is not None else completeness_points(rows, case.answers)
    points = by_severity((*assessment.points, *lacking))
    words = tuple(entry for document, voice in spoken for entry in sheet_words(document, voice, clinic))
    documents = [document for document, _ in spoken]
    for tag in wanted or (clinic.language,):
        voice = Voice((tag,), clinic.digits)
        spoken.append((review_sheet(assessment, voice, points, rows, words), voice))
        documents.append(spoken[-1][0])
    refused = any(row.blocks for row in rows)
    past = BEFORE_SURGERY if case.done is not None else ()
    left_out = (*past, *((FORM,) if refused else ()))
    documents.sort(key=lambda document: SHEETS.index(document.sheet))
    chosen = tuple(document for document in documents if document.sheet in sheets and document.sheet not in left_out)
    return Pack(assessment, chosen, points, rows, words, _said(spoken))


def _said(spoken: list[tuple[Document, Voice]]) -> Mapping[str, frozenset[str]]:
    found: dict[str, frozenset[str]] = {}
    for document, voice in spoken:
        found[document.sheet] = found.get(document.sheet, frozenset()).union(*voice.used().values())
    return found


def _refuse_the_past(case: Case, sheets: tuple[str, ...]) -> None:
    if case.done is not None and set(sheets) <= set(BEFORE_SURGERY):
        raise UsageError(
            Problem(
                f"the operation is done; {', '.join(sheets)} belongs to the plan",
                "--sheet",
                "a form printed after surgery cannot have been signed before it",
                "take the paper that was signed from the record; ask for sheets of the aftercare",
            )
        )


def proved(assessment: Assessment, spoken: list[tuple[Document, Voice]]) -> tuple[Row, ...]:
    """Completeness of the composed sheets, the form first, against the clinic's profile and what it demands besides."""
    clinic, voice = assessment.clinic, spoken[0][1]
    # What is signed on a paper for a no is not signed on the form.
    sheets = [document for document, _ in spoken if document.sheet != decision.SHEET]
    anchors = tuple(anchor for document in sheets for anchor in document.anchors())
    parts = [document.texts_by_language() for document, _ in spoken if document.sheet in _FORM_AND_PARTS]
    texts = {
        speaker.tag: _without_own_words(
            tuple(text for part in parts for text in part[speaker.tag]), assessment.case, speaker
        )
        for speaker in voice.speakers
    }
    composed = Composed(anchors, texts, voice.used())
    return completeness(profile(clinic.profile, clinic.required_elements), assessment, composed)


_FORM_AND_PARTS = (FORM, "risk-sheet", "separate-choices")
"""The papers whose every word is looked at: what is signed, and the sheet that is a part of it."""


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


def sheet_words(document: Document, voice: Voice, clinic: Clinic) -> tuple[SheetWords, ...]:
    """How far the words of ``document`` were checked, language by language."""
    found = []
    for tag, ids in voice.used().items():
        state = release_of(ids, tag, reviewed=clinic.words_folder)
        found.append(
            SheetWords(
                document.sheet, tag, state.lowest, len(state.stale), len(state.missing), state.may_be_signed, state.by
            )
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
