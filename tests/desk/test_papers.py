"""The papers of a case: printed by the set or one by one, named in words, and put together into one file."""

from __future__ import annotations

import re
from html import unescape
from io import BytesIO

import pytest
from pikepdf import Pdf

from consent.desk.finished import can_join, joined, named_file
from consent.desk.pages.papers import AT_ONCE
from consent.desk.work import File
from consent.pack import SHEETS
from tests.desk.house import Browser, House


def _names(page: str) -> list[str]:
    return re.findall(r"<span>([\w.-]+\.pdf)</span>", page)


def _printed(browser: Browser, house: House, fields: dict[str, str], name: str = "ordinary") -> str:
    answer = browser.post(f"/case/{house.subjects[name]}/drafts", fields)
    assert answer.status_code == 303, answer.text
    return browser.get(answer.headers["location"]).text


def _pdf(pages: int, width: int = 595) -> bytes:
    kept = BytesIO()
    with Pdf.new() as made:
        for _ in range(pages):
            made.add_blank_page(page_size=(width, 842))
        made.save(kept)
    return kept.getvalue()


def test_nothing_ticked_is_told(kept_house: House) -> None:
    meera = kept_house.browser("meera")
    path = f"/case/{kept_house.subjects['ordinary']}/drafts"
    answer = meera.post(path, {"large": "yes"})
    assert answer.status_code == 422 and re.search(r'role="alert"[^>]*>.*Choose a sheet', answer.text)
    assert re.search(r'name="large" value="yes" checked', answer.text)
    assert meera.post(path, {"sheet": "nonsense"}).status_code == 422
    assert meera.post(path, {"set": "nonsense"}).status_code == 422


@pytest.mark.parametrize(("name", "large"), [("ordinary", False), ("hard", True)])
def test_large_print_is_ticked_where_the_patient_needs_it(kept_house: House, name: str, large: bool) -> None:
    page = kept_house.browser("meera").get(f"/case/{kept_house.subjects[name]}/papers").text
    assert ('name="large" value="yes" checked' in page) == large
    assert "<h1>Papers</h1>" in page


@pytest.mark.parametrize("chosen", sorted(AT_ONCE))
def test_a_set_prints_the_sheets_there_are_for_the_case(kept_house: House, chosen: str) -> None:
    meera = kept_house.browser("meera")
    page = meera.get(f"/case/{kept_house.subjects['ordinary']}/papers").text
    there = [name for name in SHEETS if f'name="sheet" value="{name}"' in page]
    wanted = [name for name in AT_ONCE[chosen] if name in there]
    assert wanted and f'name="set" value="{chosen}"' in page
    # What is ticked besides is not printed: the set is what it says.
    made = _printed(meera, kept_house, {"set": chosen, "sheet": "surgeon-review"})
    assert list(dict.fromkeys(name.split(".")[0] for name in _names(made))) == wanted


def test_sets_name_sheets_that_there_are() -> None:
    assert all(name in SHEETS for sheets in AT_ONCE.values() for name in sheets)


def test_each_file_is_named_in_words(kept_house: House) -> None:
    meera = kept_house.browser("meera")
    made = _printed(meera, kept_house, {"sheet": "consent-form"})
    text = unescape(re.sub(r"<[^>]+>", "", made))
    assert re.search(r"consent form: Bengali, English", text) and "All in one file" not in text
    meera.cookies["consent-language"] = "bn"
    assert "সম্মতির ফর্ম" in _printed(meera, kept_house, {"sheet": "consent-form"})
    meera.cookies["consent-language"] = "en"


def test_several_files_are_offered_as_one(kept_house: House) -> None:
    meera = kept_house.browser("meera")
    answer = meera.post(f"/case/{kept_house.subjects['ordinary']}/drafts", {"set": "home"})
    place = answer.headers["location"]
    page = meera.get(place).text
    links = re.findall(r'class="button[^"]*" href="(/making/[\w-]+/\d+)"', page)
    count = len(_names(page))
    assert links == [f"{place}/{count}", *(f"{place}/{at}" for at in range(count))]
    whole = meera.get(links[0])
    assert whole.headers["content-type"] == "application/pdf" and meera.get(f"{place}/{count + 1}").status_code == 404
    # Somebody else's files are nobody's.
    assert kept_house.browser("asha").get(links[0]).status_code == 404


def test_each_sheet_begins_on_the_front_of_a_sheet_of_paper() -> None:
    files = [File("a.en.pdf", "application/pdf", _pdf(1)), File("b.en.pdf", "application/pdf", _pdf(2, 420)),
             File("c.en.pdf", "application/pdf", _pdf(3, 300))]  # fmt: skip
    with Pdf.open(BytesIO(joined(files).content)) as made:
        assert [int(page.mediabox[2]) for page in made.pages] == [595, 595, 420, 420, 300, 300, 300]


def test_what_cannot_be_joined_is_not_offered_so() -> None:
    one = File("a.pdf", "application/pdf", _pdf(1))
    assert not can_join([one]) and not can_join([]) and not can_join([one, File("b", "application/octet-stream")])


def test_what_a_name_says() -> None:
    assert named_file("consent-form.bn-en.pdf").tags == ("bn", "en")
    listed = named_file("operating-list.2027-02-24.bn.pdf")
    assert (listed.sheet, listed.tags, str(listed.day)) == ("operating-list", ("bn",), "2027-02-24")
    assert named_file("record-2027-02-24-1000.consent-backup").sheet is None
