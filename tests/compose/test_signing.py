"""Who signs and what a signature means: the words beside each line are true of the person who signs there.

Samira Kohli v Dr Prabha Manchanda (2008) 2 SCC 1: nobody signs for a competent adult; Bharatiya Nyaya Sanhita 2023,
s. 28: who decides for one who cannot; Medical Devices Rules 2017 schedule as a model: reader and witness; General
Clauses Act 1897, s. 3(56): thumb print.
"""

from __future__ import annotations

import pytest

from consent.compose import Document
from consent.compose.document import Signature
from consent.language import Speaker
from tests.blocks import blocks_of

GUARDIAN = {
    "patient.decision": {
        "basis": "legal guardian",
        "name": "G. Guardian-Example",
        "relation": "guardian appointed by the court",
        "can_decide": "no",
    }
}
ANSWERS = ("yes", "no", "unknown")
anybody = pytest.mark.parametrize(("reads", "writes"), [(r, w) for r in ANSWERS for w in ANSWERS])


def english(message: str) -> str:
    return Speaker("en").say(message).plain


def signatures(form: Document) -> dict[str, Signature]:
    """Every block of the signing section by the role of who signs it."""
    blocks = blocks_of(form, Signature, "signatures")
    found = {block.role[0].plain: block for block in blocks}
    assert len(found) == len(blocks)
    return found


def literacy(reads: str, writes: str) -> dict[str, str]:
    return {"patient.reads": reads, "patient.writes_name": writes}


# Somebody else decides. What could go wrong: a guardian signs for an operation on the guardian's own eye, puts the
# patient's thumb to it, and a witness attests that the patient, who cannot decide, understood.


@anybody
@pytest.mark.parametrize("side", ["left", "right"])
def test_a_guardian_agrees_to_surgery_on_the_patients_eye(reads, writes, side, english_form):
    sides = {f"{part}.side": side for part in ("eye", "plan", "measurement")}
    found = signatures(english_form("ordinary", {**GUARDIAN, **literacy(reads, writes), **sides}))
    meaning = found[english("sign.guardian")].meaning[0].plain
    assert f"the patient's {side.upper()} eye" in meaning
    assert " my " not in meaning
    assert english("sign.patient") not in found


@anybody
def test_a_guardian_gives_no_thumb_print_of_the_patient(reads, writes, english_form):
    form = english_form("ordinary", {**GUARDIAN, **literacy(reads, writes)})
    assert [block for block in signatures(form).values() if block.thumb] == []
    assert english("sign.thumb") not in list(form.texts())


@anybody
def test_a_witness_to_a_guardian_attests_the_guardian(reads, writes, english_form):
    """Always there where somebody else decides, whatever the patient can read or write."""
    found = signatures(english_form("ordinary", {**GUARDIAN, **literacy(reads, writes)}))
    meaning = found[english("sign.witness")].meaning[0].plain
    assert "The person who decides understood" in meaning
    assert "The patient understood" not in meaning
    assert english("sign.reader") not in found


# The patient decides


@anybody
def test_a_patient_agrees_to_surgery_on_their_own_eye(reads, writes, english_form):
    found = signatures(english_form("ordinary", literacy(reads, writes)))
    assert "on my LEFT eye" in found[english("sign.patient")].meaning[0].plain
    assert bool(found[english("sign.patient")].thumb) == (writes != "yes")
    assert english("sign.guardian") not in found


@anybody
def test_reader_where_the_patient_may_not_read_witness_where_they_may_not_read_or_write(reads, writes, english_form):
    """One who reads but cannot write has read it: a statement that it was read aloud would be untrue."""
    found = signatures(english_form("ordinary", literacy(reads, writes)))
    assert (english("sign.reader") in found) == (reads != "yes")
    assert (english("sign.witness") in found) == (reads != "yes" or writes != "yes")
    if english("sign.witness") in found:
        assert "The patient understood" in found[english("sign.witness")].meaning[0].plain


def test_one_who_reads_and_cannot_write_has_a_witness_and_no_reader(english_form):
    found = signatures(english_form("ordinary", literacy("yes", "no")))
    assert english("sign.reader") not in found
    assert english("sign.witness") in found
    assert found[english("sign.patient")].thumb is not None
