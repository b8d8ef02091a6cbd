"""The longest plausible names, addresses and answers on every sheet, in every language: nothing breaks or runs over.

A pseudo-long test as pseudo-localisation does it. The lengths (names 60 letters, an address 90, own words 300) are
common practice, no source; they are all shorter than what the case and the clinic accept.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import pytest

from consent.case import Case
from consent.case.reading import validate
from consent.case.talk import Outcome
from consent.clinic import Clinic
from consent.errors import CaseError
from consent.pack import compose_list, compose_pack
from tests.conftest import LIST_DAY, Paper
from tests.editing import clinic_maker, edited, shipped
from tests.render.reading import MM, outside, overlapping, places, squeezed

PATIENT = "Venkatanarasimharaju Lakshminarasimhan Balasubramanian Swamy"
HELPER = "Thiruvananthapuram Sivaramakrishnan Annapurneswari-Chandrika"
SURGEON = "Dr Muthuramalingam Padmanabhaswamy Krishnamoorthy Adhikari-B"
CLINIC = "Sarvajanik Netra Chikitsalaya evam Anusandhan Kendra Trust X"
ADDRESS = "14/2 Old Chandranagar Cross Road, Opposite Muthuramalingam Stores, Tiruchirappalli 6200017"
WORDS = (
    "I want to see the faces of my grandchildren at the wedding, to sort lentils and thread my needle without calling "
    "anybody, to walk to the temple before sunrise by myself, to count the money at the market so that nobody gives me "
    "too little, and to read the small letters on my medicine strips at night."
)
LENGTHS = {PATIENT: 60, HELPER: 60, SURGEON: 60, CLINIC: 60, ADDRESS: 90, WORDS: 300}
CHANGES: dict[str, Any] = {
    "patient.name": PATIENT,
    "patient.drops_helper": HELPER,
    "patient.drops_given_by": "named helper",
    "patient.what_matters_in_own_words": WORDS,
    "plan.surgeon.name": SURGEON,
    "talk.by": HELPER,
    "talk.witness": HELPER,
    "talk.told.surgeon": SURGEON,
    "talk.questions": [{"question": WORDS, "answer": WORDS}],
    "figures_accepted.by": SURGEON,
}
AFTER: dict[str, Any] = {"done.by": SURGEON, "done.told.by": SURGEON, "done.referral.to": CLINIC}
TAGS = ("en", "bn", "hi")
BEFORE = (
    "consent-form",
    "risk-sheet",
    "separate-choices",
    "counsellor-guide",
    "decision",
    "before-day",
    "day-of-surgery",
    "going-home",
    "drop-calendar",
    "surgeon-review",
)
LATER = ("not-to-plan", "referral-letter", "lens-card")
LISTS = ("operating-list", "missed-visits")
pytestmark = pytest.mark.slow


def _case(name: str, changes: dict[str, Any]) -> Case:
    data = shipped("case", "examples", f"{name}.toml")
    return validate(edited(data, {**CHANGES, **changes}), Case, CaseError, where="a changed example")


@cache
def _clinic() -> Clinic:
    return clinic_maker()({"name": CLINIC, "address": ADDRESS})


@cache
def _documents(tag: str) -> dict[str, tuple[Case, Any]]:
    """Every sheet with long words by its name, in ``tag`` with English beside it where a sheet has two languages."""
    tags = (tag,) if tag == "en" else (tag, "en")
    before, after = _case("ordinary", {}), _case("torn", AFTER)
    waiting = before.model_copy(update={"talk": before.talk.model_copy(update={"outcome": Outcome.WANTS_TIME})})
    made = [(before, document) for document in compose_pack(before, _clinic(), tags).documents]
    made += [(waiting, document) for document in compose_pack(waiting, _clinic(), tags, ("decision",)).documents]
    made += [(after, document) for document in compose_pack(after, _clinic(), tags, LATER).documents]
    made += [(before, document) for document in compose_list((before, after), _clinic(), LIST_DAY, tag)]
    return {document.sheet: (case, document) for case, document in made if document.languages[0][0] == tag}


@pytest.fixture(
    scope="module", params=[(tag, sheet) for tag in TAGS for sheet in (*BEFORE, *LATER, *LISTS)], ids="-".join
)
def paper(request: pytest.FixtureRequest, paper_folder: Path) -> Paper:
    tag, sheet = request.param
    case, document = _documents(tag)[sheet]
    return Paper(case, document, paper_folder, "long")


def test_the_words_are_as_long_as_said() -> None:
    """Lengths as named above; otherwise the sheets would be tried with less."""
    assert {text: len(text) for text in LENGTHS} == LENGTHS


def test_it_prints_and_no_word_lies_outside_the_margin_or_over_another(paper: Paper) -> None:
    """Source: Poppler's word boxes (pdftotext -bbox); printers leave 4 to 5 mm unprinted: common practice."""
    for number, page in enumerate(paper.boxes, 1):
        lost = [word.text for word in outside(page, 5 * MM)]
        assert not lost, (paper.name, number, lost)
        pairs = overlapping(page)
        assert not pairs, (paper.name, number, pairs[:8])


def test_the_running_head_is_whole_on_every_page(paper: Paper) -> None:
    """Every word of the head, the patient's whole name among them, is on the paper, 3 mm below its upper edge.

    Printers leave 3 to 4 mm unprinted: common practice, no source.
    """
    if paper.document.sheet not in LISTS:
        assert squeezed(PATIENT) in squeezed(paper.document.header[0].plain)
    header = paper.document.header[0].plain
    for number, page in enumerate(paper.boxes, 1):
        found = list(places(page.words, header))
        assert found, (paper.name, number)
        start, end = found[-1]
        for word in page.words[start:end]:
            upper = (word.top + 0.2 * (word.bottom - word.top)) / MM
            assert upper >= 3, (paper.name, number, word.text, f"{upper:.1f} mm")
