"""The surgeon's sheet tells what cannot happen from what is not known."""

from __future__ import annotations

import pytest

from consent.case import Anaesthesia
from consent.compose import Document
from consent.compose.document import Table
from consent.language import Speaker
from consent.pack import compose_pack


def english(message: str) -> str:
    return Speaker("en").say(message).plain


@pytest.fixture(scope="module")
def review(make_case, make_clinic):
    def compose(changes: dict | None = None) -> Document:
        return compose_pack(make_case(changes), make_clinic(), ("en",), ("surgeon-review",)).documents[0]

    return compose


def risk_rows(document: Document) -> dict[str, list[str]]:
    """The cells of each row of the table of risks, by the name of the outcome."""
    section = next(section for section in document.sections if section.id == "risks")
    (table,) = [block for block in section.blocks if isinstance(block, Table)]
    return {name[0].plain: [cell[0].plain for cell in cells] for name, *cells in table.rows}


# Harm from the block. "Not known" would send the surgeon looking for a figure; none is needed.


@pytest.mark.parametrize("kind", ["topical", "topical and intracameral", "general"])
def test_harm_from_a_block_that_is_not_given_does_not_apply(kind, review):
    document = review({"plan.anaesthesia": kind})
    cells = risk_rows(document)[english("outcome.anaesthetic_harm.short")]
    assert cells.count("does not apply") == 2  # this eye, and what the patient sees
    assert "not known" not in cells
    assert not any(letter.isdigit() for letter in "".join(cells))
    assert [text for text in document.texts() if english("assume.does-not-apply") in text] == []


@pytest.mark.parametrize("kind", [*(k for k in Anaesthesia if k.value in ("sub-Tenon", "peribulbar")), None])
def test_harm_from_a_block_that_is_or_may_be_given_has_its_figure(kind, review):
    cells = risk_rows(review({"plan.anaesthesia": kind.value if kind else None}))
    row = cells[english("outcome.anaesthetic_harm.short")]
    assert "does not apply" not in row
    assert any(letter.isdigit() for letter in row[0])


def test_what_has_no_published_figure_stays_not_known(review):
    """Losing the eye can happen under any anaesthetic; no figure with a denominator was found."""
    cells = risk_rows(review({"plan.anaesthesia": "topical"}))[english("outcome.loss_of_eye.short")]
    assert "not known" in cells
    assert "does not apply" not in cells
