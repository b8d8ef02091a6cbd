"""A clinic vouches for words: it holds for those words and that English, and only for as long as neither changes.

The rung of a clinician's check, with name and date, is ISPOR's step of review (Wild 2005,
10.1111/j.1524-4733.2005.04054.x); a reviser with a qualification is ISO 17100's.
"""

from __future__ import annotations

from datetime import date

import pytest

from consent.errors import LanguageError, UsageError
from consent.language import Rung, load_catalogue, refresh_status, release_of
from consent.language.reviewing import vouch

BY = "A. Example, MBBS, reads Bengali as first language"
ON = date(2027, 2, 9)
WHY = "form.why"


@pytest.fixture
def folder(tmp_path, write_catalogue, bodies):
    for tag in ("en", "bn"):
        write_catalogue(tmp_path, tag, bodies[tag])
        refresh_status(tag, tmp_path, drafted_by="an engine", on=ON)
    return tmp_path


def raised(folder, *ids, rung=Rung.CLINICIAN_CHECKED, by=BY):
    return vouch("bn", ids or (WHY,), rung, by, ON, folder / "own" / "words", folder)


def standing(folder, *ids):
    return release_of(ids or (WHY,), "bn", folder, folder / "own" / "words")


def test_what_was_vouched_for_may_be_signed_and_says_by_whom(folder):
    assert not standing(folder).may_be_signed
    assert raised(folder) == (WHY,)
    assert standing(folder).may_be_signed
    assert standing(folder).by == (BY,)
    assert not standing(folder, WHY, "eye.right").may_be_signed


def test_the_programs_own_file_is_not_touched(folder):
    before = (folder / "bn" / "status.toml").read_bytes()
    raised(folder)
    assert (folder / "bn" / "status.toml").read_bytes() == before
    assert release_of([WHY], "bn", folder).lowest is Rung.MACHINE_DRAFT


@pytest.mark.parametrize("tag", ["en", "bn"])
def test_changed_words_or_english_fall_back(tag, folder, write_catalogue, bodies):
    raised(folder)
    old, new = {"en": ("cloudy", "white"), "bn": ("ঘোলা", "সাদা")}[tag]
    assert old in bodies[tag]
    write_catalogue(folder, tag, bodies[tag].replace(old, new))
    load_catalogue.cache_clear()
    refresh_status(tag, folder)
    state = standing(folder)
    assert not state.may_be_signed
    assert state.by == ()
    assert bool(state.stale) == (tag == "en")


def test_a_later_review_adds_to_the_earlier_and_leaves_what_stands_higher(folder):
    raised(folder, rung=Rung.LAY_TESTED)
    assert raised(folder, WHY, "eye.right", by="B. Example, MS, reads Bengali") == ("eye.right",)
    assert standing(folder).lowest is Rung.LAY_TESTED
    assert standing(folder, WHY, "eye.right").by == (BY, "B. Example, MS, reads Bengali")


@pytest.mark.parametrize("by", ["", "A. Example", "A. Example, ", " , MBBS"])
def test_a_name_without_a_qualification_is_refused(by, folder):
    with pytest.raises(UsageError, match="not a name and a qualification"):
        raised(folder, by=by)
    assert not (folder / "own").exists()


def test_a_message_that_is_not_there_is_refused(folder):
    with pytest.raises(LanguageError):
        raised(folder, "form.nothing")
    assert not (folder / "own").exists()
