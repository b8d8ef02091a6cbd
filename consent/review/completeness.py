"""Proves on the composed sheets that nothing required is missing: an anchor with no text does not count."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from consent.case import PointAnswer
from consent.language import Rung, Speaker, read_english, read_signals, release_of, running_text
from consent.review.answering import COMPLETENESS, make_point, with_answers
from consent.review.assessment import Assessment
from consent.review.options import options
from consent.review.point import Point
from consent.review.profile import NamedElement, Profile, forbidden_words
from consent.risk import Estimate, may_show_personal
from consent.wording import remark

GRADE, LONGEST = 6.0, 20
"""Of English text: Flesch-Kincaid grade, and words in a sentence."""


@dataclass(frozen=True)
class Anchor:
    """A place in a composed sheet that answers an element, or one part of it. ``texts`` are by language tag."""

    element: str
    part: str
    texts: Mapping[str, str]
    sheet: str
    section: str

    @property
    def said(self) -> bool:
        """Whether something is said in every language of the sheet."""
        return bool(self.texts) and all(text.strip() for text in self.texts.values())


class State(StrEnum):
    """How an element stands."""

    MET = "met"
    UNMET = "unmet"
    NOT_APPLICABLE = "not applicable"


@dataclass(frozen=True)
class Row:
    """One element against the composed sheets: where it is answered, which parts are not, what was measured."""

    element: NamedElement
    state: State
    where: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    measured: tuple[str, ...] = ()

    @property
    def lacking(self) -> str:
        """What the element asks for, with its parts that nothing answers and the words that may not stand."""
        found = ", ".join(dict.fromkeys((*self.missing, *self.measured)))
        return f"{self.element.text} ({found})" if found else self.element.text

    @property
    def blocks(self) -> bool:
        """Whether this row alone forbids sign-off."""
        return self.state is State.UNMET and self.element.level != "SHOULD"


@dataclass(frozen=True)
class Composed:
    """What completeness looks at: all anchors, and the texts of the form by language, without quoted own words."""

    anchors: tuple[Anchor, ...]
    texts: Mapping[str, tuple[str, ...]]
    said: Mapping[str, frozenset[str]]


def completeness(chosen: Profile, assessment: Assessment, composed: Composed) -> tuple[Row, ...]:
    """One row per element, found on what was composed, not on a promise of the code."""
    held: dict[str, list[Anchor]] = {}
    for anchor in composed.anchors:
        if anchor.said:
            held.setdefault(anchor.element, []).append(anchor)
    return tuple(_row(element, assessment, held.get(element.id, []), composed) for element in chosen.elements)


def completeness_points(rows: Iterable[Row], answers: Iterable[PointAnswer] = ()) -> tuple[Point, ...]:
    """A stop naming each MUST element that the composed form does not meet; none if all are met.

    Of ``answers``, those to completeness are put to it; that point blocks all the same.
    """
    missing = [row for row in rows if row.blocks]
    facts = [remark("fact.element", element=row.element.id, text=row.lacking) for row in missing]
    found = (make_point(COMPLETENESS, facts),) if facts else ()
    return with_answers(found, (answer for answer in answers if answer.point == COMPLETENESS))


def _row(element: NamedElement, assessment: Assessment, anchors: list[Anchor], composed: Composed) -> Row:
    if not _applies(element, assessment):
        return Row(element, State.NOT_APPLICABLE)
    if element.forbidden:
        found = _forbidden(element.forbidden, composed.texts)
        return Row(element, State.UNMET if found else State.MET, measured=found)
    if element.check == "reading":
        return _reading(element, composed.texts)
    if element.check == "signals":
        return _signals(element, composed, assessment.clinic.words_folder)
    parts = tuple(part for name in element.parts for part in _expanded(name, assessment))
    if (element.parts and not parts) or (element.optional and not anchors):
        return Row(element, State.NOT_APPLICABLE)
    where = tuple(dict.fromkeys(f"{anchor.sheet} / {anchor.section}" for anchor in anchors))
    missing = tuple(part for part in parts if part not in {anchor.part for anchor in anchors})
    if element.check == "side":
        missing += tuple(anchor.section for anchor in anchors if not _side_said(anchor, assessment))
    met = bool(where) and not missing
    return Row(element, State.MET if met else State.UNMET, where, missing)


def _applies(element: NamedElement, assessment: Assessment) -> bool:
    if element.setting == "local law":
        return bool(assessment.clinic.local_additions)
    return element.when is None or element.when.holds(assessment.case)


def _expanded(name: str, assessment: Assessment) -> tuple[str, ...]:
    """The parts a word of the profile stands for: steps, options or risks of this very case; else itself."""
    if name == "extra steps":
        return tuple(step.value for step in assessment.case.plan.extra_steps)
    if name.startswith("options: "):
        return tuple(f"{option.id}: {name.removeprefix('options: ')}" for option in options(assessment.case))
    harms = [risk for risk in assessment.risks.values() if risk.applies and not risk.benefit]
    own = [
        risk for risk in harms if risk.personal and may_show_personal(risk, assessment.case, assessment.clinic).allowed
    ]
    kinds = {
        "risks": harms,
        "known risks": [risk for risk in harms if risk.known],
        "unknown risks": [risk for risk in harms if not risk.known],
        "personal risks": own,
        "personal risks with a range": [risk for risk in own if _spreads(risk)],
    }
    return tuple(risk.outcome for risk in kinds[name]) if name in kinds else (name,)


def _spreads(risk: Estimate) -> bool:
    """Whether the ends of its range differ once they are counted in people of 1,000."""
    span = risk.interval
    if span is None or span.high < 1 / 1000:
        return False
    # Halves are counted up, as they are where people are counted.
    low, high = (int(1000 * end + 0.5) for end in (span.low, span.high))
    return low != high


def _forbidden(kind: str, texts: Mapping[str, tuple[str, ...]]) -> tuple[str, ...]:
    words = forbidden_words(kind)
    whole = {tag: "\n".join(lines).casefold() for tag, lines in texts.items()}
    # In every language: a word of one language may have been put into the text of another.
    every = "\n".join(whole.values())
    return tuple(word for listed in words.values() for word in listed if _stands(word.casefold(), every))


def _stands(word: str, text: str) -> bool:
    """Whether ``word`` begins a word of ``text``; endings may follow, so that "minimal" finds "minimally".

    A vowel sign before it is a part of the same word: "विरले" is not in "शिविरले".
    """
    starts = (found.start() for found in re.finditer(re.escape(word), text))
    return any(not start or unicodedata.category(text[start - 1])[0] not in "LMN" for start in starts)


def _side_said(anchor: Anchor, assessment: Assessment) -> bool:
    """The eye as a whole word in every language of the place, and the other eye in none."""
    side = assessment.case.eye.side
    for tag, text in anchor.texts.items():
        speaker = Speaker(tag)
        this, other = (speaker.say(f"eye.{name}").plain for name in (side, side.other))
        if this not in text or other in text:
            return False
    return True


def _reading(element: NamedElement, texts: Mapping[str, tuple[str, ...]]) -> Row:
    lines = running_text(texts.get("en", ()))
    if not lines:
        return Row(element, State.NOT_APPLICABLE)
    found = read_english("\n".join(lines))
    met = found.flesch_kincaid_grade <= GRADE and found.longest_sentence <= LONGEST
    measured = (
        f"Flesch-Kincaid {found.flesch_kincaid_grade:.1f}",
        f"SMOG {found.smog_grade:.1f}",
        f"longest sentence {found.longest_sentence} words",
    )
    return Row(element, State.MET if met else State.UNMET, measured=measured)


def _signals(element: NamedElement, composed: Composed, reviewed: Path | None) -> Row:
    """Signals of every language but English; met only once lay readers have said the words back."""
    measured, tested = [], True
    for tag in [tag for tag in composed.texts if tag != "en"]:
        lines = running_text(composed.texts[tag])
        if lines:
            found = read_signals("\n".join(lines))
            measured.append(
                f"{tag}: {found.mean_words_per_sentence:.1f} words a sentence, longest {found.longest_sentence}, "
                f"long words {100 * found.long_word_share:.0f} %, conjuncts {found.conjuncts}"
            )
            tested = tested and release_of(composed.said.get(tag, ()), tag, reviewed=reviewed).lowest >= Rung.LAY_TESTED
    if not measured:
        return Row(element, State.NOT_APPLICABLE)
    missing = () if tested else ("no lay reader has said it back",)
    return Row(element, State.MET if tested else State.UNMET, (), missing, tuple(measured))
