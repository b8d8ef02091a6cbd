"""The drop calendar: a wall page, pictures, bottles with rules and visits, then strips of days to cross off."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from consent.case import Answer
from consent.compose.document import Block, Columns, Document, Line, Paper, Para, Section
from consent.compose.drop_bottles import bottle_page, visits
from consent.compose.drop_pictures import picture_page
from consent.compose.drop_steps import steps_of
from consent.compose.drop_strips import strips
from consent.compose.drop_wall import drug_lines, legend, month_grid, poster, told_lines
from consent.compose.frame import finish
from consent.compose.voice import Voice
from consent.errors import Problem, UsageError
from consent.language import Day
from consent.review.assessment import Assessment
from consent.wording import remark

SHEET = "drop-calendar"

__all__ = ["SHEET", "drop_calendar", "steps_of"]


def drop_calendar(assessment: Assessment, voice: Voice, paper: Paper = "A4", large: bool = False) -> Document:
    """The composed calendar; a plan without drops still says so, with shield, visits, warning signs and telephone.

    ``large``: large print, also without the patient's wish for it in the case. Raises ``UsageError`` for large print on
    A5.
    """
    large = large or assessment.case.patient.large_print is Answer.YES
    if large and paper == "A5":
        raise UsageError(
            Problem(
                "large print does not fit A5 paper",
                "--paper",
                "times and numbers would run into each other",
                "print the calendar on A4",
            )
        )
    wide = paper == "A4" and not large
    if not assessment.drops.current:
        sections: tuple[Section, ...] = (_without_drops(assessment, voice),)
    else:
        sections = (
            *_wall(assessment, voice, wide),
            picture_page(assessment, voice),
            bottle_page(assessment, voice),
            strips(assessment, voice),
        )
    title = voice.line("calendar.title", eye=remark(f"eye.{assessment.drops.side}"))
    return finish(
        voice, assessment, SHEET, title, sections, layout="landscape", take_home=True, paper=paper, large=large
    )


def _wall(assessment: Assessment, voice: Voice, wide: bool) -> Iterator[Section]:
    plan = assessment.drops
    wide = wide and not plan.both_eyes
    month, signs = month_grid(assessment, voice), legend(assessment, voice)
    lines: tuple[Block, ...] = (*drug_lines(assessment, voice, spread=not wide), *told_lines(assessment, voice))
    head = poster(assessment, voice)
    if wide:
        yield Section("wall", None, (head, Columns((month,), (*lines, signs))))
    else:
        yield Section("wall", None, (head, month, signs))
        yield Section("drugs", voice.line("calendar.your-bottles"), lines, style="page")


def _without_drops(assessment: Assessment, voice: Voice) -> Section:
    """Nothing to drop: from the start, or from a change on."""
    plan = assessment.drops
    words = (
        voice.line("calendar.no-more", date=Day(plan.issued_on, "brief"))
        if plan.changed_on
        else voice.line("home.drops.none")
    )
    blocks = (poster(assessment, voice), Para(words, style="strong"), *told_lines(assessment, voice))
    return Section("wall", None, (*blocks, Para(_shield(assessment, voice)), *visits(assessment, voice)))


def _shield(assessment: Assessment, voice: Voice) -> Line:
    nights = assessment.clinic.aftercare.shield_nights
    if nights is None:
        return voice.line("calendar.shield-ask")
    return voice.line("calendar.shield", date=Day(assessment.drops.surgery + dt.timedelta(days=nights)))
