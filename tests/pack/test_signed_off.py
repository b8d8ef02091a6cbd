"""Papers that were signed off say so, in each language, and nothing on them says that they are a draft."""

from __future__ import annotations

import datetime as dt

import pytest

from consent.clinic import Clinic
from consent.pack import assessment_data, compose_pack
from consent.pack.files import index_html
from consent.review import SignOff
from tests.conftest import shipped_case

# A quarter to midnight in UTC is the next morning in India, five and a half hours later.
AT = dt.datetime(2026, 12, 26, 23, 45, tzinfo=dt.UTC)
SIGNED = SignOff("Dr Asha Invented", "INVENTED-0002", AT)
SAID = {
    "en": "Reviewed and signed off by Dr Asha Invented, registration INVENTED-0002, 27 December 2026 05:15",
    "bn": "ডাক্তার দেখে সই করেছেন: Dr Asha Invented, রেজি. নং INVENTED-0002, ২৭ ডিসেম্বর, ২০২৬, ০৫:১৫",
    "hi": "डॉक्टर ने जाँचकर दस्तखत किए: Dr Asha Invented, रजि. नं. INVENTED-0002, 27 दिसंबर 2026, 05:15",
}
DRAFT = {"en": "DRAFT", "bn": "খসড়া", "hi": "कच्ची कॉपी"}
"""The word of each language for what is not yet signed off."""


@pytest.mark.parametrize("tag", SAID)
def test_every_sheet_names_who_and_when_by_the_clock_of_the_clinic(clinic: Clinic, tag: str) -> None:
    signed = compose_pack(shipped_case("ordinary"), clinic, (tag,), signed_off=SIGNED)
    draft = compose_pack(shipped_case("ordinary"), clinic, (tag,))
    assert len(signed.documents) > 5
    for one, before in zip(signed.documents, draft.documents, strict=True):
        (marks, marked_before) = ([line[0].plain for line in document.marks] for document in (one, before))
        assert marks[0] == SAID[tag]
        assert marks[1:] == marked_before[1:], "practice and invented marks stay"
        assert DRAFT[tag] in marked_before[0]
        assert not any(DRAFT[tag] in mark for mark in marks)
        assert list(one.texts()) == list(before.texts()), "nothing else on the sheet changes"


@pytest.mark.parametrize("tag", SAID)
def test_index_and_data_say_it_too(clinic: Clinic, tag: str) -> None:
    clinic = clinic.model_copy(update={"language": tag})
    signed = compose_pack(shipped_case("ordinary"), clinic, (tag,), signed_off=SIGNED)
    draft = compose_pack(shipped_case("ordinary"), clinic, (tag,))
    assert SAID[tag] in index_html(signed, ())
    assert DRAFT[tag] not in index_html(signed, ())
    assert DRAFT[tag] in index_html(draft, ())
    assert (assessment_data(draft)["final"], assessment_data(draft)["signed_off"]) == (False, None)
    data = assessment_data(signed)
    assert (data["final"], data["signed_off"]["at"]) == (True, "2026-12-26T23:45:00+00:00")


def test_a_sign_off_without_a_time_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="time zone"):
        SignOff("Dr Asha Invented", "INVENTED-0002", AT.replace(tzinfo=None))
