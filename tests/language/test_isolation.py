"""Numbers keep their order in right-to-left text (Unicode Standard Annex 9, Unicode Bidirectional Algorithm)."""

from __future__ import annotations

import re
from datetime import date, time
from decimal import Decimal
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st

from consent.language import Day, Quoted, Range, Speaker, Verbatim, Year, bare_runs
from consent.language.isolation import LRI, PDI, isolate_runs_html, isolate_runs_plain, split_runs


class Outside(HTMLParser):
    """Independent reading: collects the text that no left-to-right isolate encloses."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.text = ""

    def handle_starttag(self, tag, attrs):
        self.open.append(dict(attrs).get("dir", "") if tag == "bdi" else "")

    def handle_endtag(self, tag):
        self.open.pop()

    def handle_data(self, data):
        if "ltr" not in self.open:
            self.text += data


def outside(html: str) -> str:
    reader = Outside()
    reader.feed(html)
    reader.close()
    assert reader.open == []
    return reader.text


numbers = st.one_of(
    st.integers(-(10**7), 10**7),
    st.decimals(0, 1000, places=2),
    st.tuples(st.integers(0, 500), st.integers(500, 9999)).map(lambda pair: Range(*pair)),
    st.times(),
    st.integers(1900, 2100).map(Year),
    st.from_regex(r"\A\+?[0-9]{3,5}[ -][0-9]{5}\Z").map(Verbatim),
    st.dates(date(1900, 1, 1), date(2100, 1, 1)),
    st.dates(date(1900, 1, 1), date(2100, 1, 1)).map(lambda day: Day(day, "brief")),
    st.sampled_from(["prednisolone", "0.5% w/v", "IOL +21.5 D", "مریض 5-10 mg", "Dr A"]).map(Quoted),
)


@given(numbers, numbers, numbers, st.sampled_from(["locale", "latin", "native"]))
def test_nothing_that_could_turn_round_is_left_bare(words, drug, strength, count, digits):
    # UAX 9: a number takes the direction of the letters before it; only an isolate keeps it out of their order.
    said = Speaker("ur", digits, words).say("form.dose", drug=drug, strength=strength, count=count)
    assert not re.search(r"[\dA-Za-z]", outside(said.html))
    assert bare_runs(said.html) == []
    assert bare_runs(said.plain) == []
    assert said.plain.count(PDI) == len(re.findall("[\u2066-\u2068]", said.plain))


@given(numbers, numbers, numbers)
def test_left_to_right_text_is_not_wrapped(words, drug, strength, count):
    if isinstance(drug, Quoted) or isinstance(strength, Quoted) or isinstance(count, Quoted):
        return
    said = Speaker("bn", directory=words).say("form.dose", drug=drug, strength=strength, count=count)
    assert "<bdi" not in said.html
    assert not re.search("[\u2066-\u2069]", said.plain)


@pytest.mark.parametrize(
    ("text", "runs"),
    [
        ("روزانہ 5-10 mg لیں", ["5-10 mg"]),
        ("فون 00000 11111 پر", ["00000 11111"]),
        ("وقت 07:00 – 09:30 بجے", ["07:00 – 09:30"]),
        ("دائیں LASER۔ پھر 3 دن", ["LASER", "3"]),
        ("۵۰٪ یا 50% یا ۱۲٬۳۴۵", ["۵۰", "50%", "۱۲٬۳۴۵"]),
        ("طاقت +21.5 D عدسہ", ["+21.5 D"]),
        ("کوئی عدد نہیں", []),
    ],
)
def test_what_belongs_together_is_one_run(text, runs):
    # "5-10 mg" left bare in Urdu prints as "mg 10-5" (UAX 9, rules W4 to W7 and N2).
    assert [piece for run, piece in split_runs(text) if run] == runs
    assert bare_runs(text) == runs
    assert bare_runs(isolate_runs_html(text)) == []
    assert bare_runs(isolate_runs_plain(text)) == []
    assert "".join(piece for _, piece in split_runs(text)) == text


def test_checker_knows_what_shields():
    assert bare_runs('<bdi dir="rtl">مریض 5</bdi>') == ["5"]
    assert bare_runs('<bdi dir="ltr">5 mg</bdi> 7') == ["7"]
    assert bare_runs(f"{LRI}5 mg{PDI} 7") == ["7"]
    assert bare_runs('<td class="a1">عدد &amp; &#39;</td>') == []


def test_unit_in_the_words_joins_its_number(words):
    # A number and its unit are one left-to-right unit: two isolates side by side would read "mg/ml 1".
    said = Speaker("ur", directory=words).say(
        "form.dose", drug=Verbatim("prednisolone"), strength=Decimal("1.0"), count=2
    )
    assert '<bdi dir="ltr">1 mg/ml</bdi>' in said.html
    assert f"{LRI}1 mg/ml{PDI}" in said.plain


def test_two_times_and_dates_do_not_run_together(words):
    said = Speaker("ur", directory=words).say("form.eye", day=date(2026, 2, 9), time=time(7), eye=Quoted("دائیں"))
    assert '<bdi dir="ltr">2026</bdi>' in said.html
    assert '<bdi dir="ltr">07:00</bdi>' in said.html
