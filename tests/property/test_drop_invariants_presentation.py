"""Invariants 38 to 43 on the composed calendar: words, sizes, pictures, warnings, who gives the drops."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from functools import cache
from random import Random
from typing import Any

import pytest

from consent.case import Answer, Case
from consent.clinic import Clinic, read_clinic
from consent.compose import Document, Voice, drop_calendar, going_home
from consent.compose.document import Warnings
from consent.compose.drop_steps import Mark
from consent.drops import read_formulary
from consent.language import Said
from consent.review import assess
from tests.conftest import shipped_case
from tests.property.random_orders import CLINIC, random_order

LANGUAGES = ("bn", "en", "hi")
# ISMP list of error-prone abbreviations and dose designations
ABBREVIATED = re.compile(r"\b(OD|OS|OU|AD|AS|AU|HS|hs|BT|qd|QD|qod|QOD|q\.d\.|b\.d\.|t\.d\.s\.|cc|ug)\b|[Pp]er os")
TRAILING_ZERO = re.compile(r"\d\.\d*0(?=%|\s*(mg|mL|ml|g)\b)")
NAKED_DECIMAL = re.compile(r"(?<![\d:])\.\d")
TRADE_SIGN = re.compile("[®™©]")
SVG = re.compile(r"^\s*<svg")


def clinic_with(tables: dict[str, Any]) -> Clinic:
    """The shipped clinic with invented drugs and regimens."""
    return read_clinic().model_copy(update={"formulary": CLINIC.formulary, "regimens": tables})


def random_cases() -> Iterator[tuple[Case, Clinic]]:
    """The shipped ordinary case on random orders: both eyes, long-standing drops, changes, landmarks, settings."""
    case = shipped_case("ordinary")
    for seed in range(40):
        ordered = random_order(Random(seed))
        order = ordered.order
        plan = case.plan.model_copy(update={"side": order.side, "date": order.surgery, "regimen": order.regimen})
        regimen, operated_on = order.other_eye or (None, None)
        other = case.other_eye.model_copy(update={"regimen": regimen, "operated_on": operated_on})
        hours = {"waking_from": order.waking_from, "waking_to": order.waking_to}
        clock = {"tells_clock_time": Answer.NO if order.by_landmarks else Answer.YES}
        yield (
            case.model_copy(
                update={
                    "plan": plan,
                    "eye": case.eye.model_copy(update={"side": order.side}),
                    "patient": case.patient.model_copy(update=hours | clock),
                    "other_eye": other,
                    "own_drops": order.own_drops,
                    "drop_changes": order.changes,
                    "version": 1 + len(order.changes),
                    "visits": (),
                }
            ),
            ordered.clinic,
        )


@cache
def calendars() -> tuple[tuple[str, Document], ...]:
    """Calendars of the shipped and of random cases in every language, by the language."""
    chosen = [(shipped_case(name), read_clinic()) for name in ("ordinary", "hard")]
    return tuple(
        (tag, drop_calendar(assess(case, clinic), Voice((tag,), "latin")))
        for case, clinic in [*chosen, *random_cases()]
        for tag in LANGUAGES
    )


def test_no_brand_no_abbreviation_no_trailing_zero() -> None:
    """Invariant 38: neither a sign of trade, nor OD, OS, OU or their like, nor 1.0, nor .5."""
    for _, document in calendars():
        for text in document.texts():
            for fault in (ABBREVIATED, TRAILING_ZERO, NAKED_DECIMAL, TRADE_SIGN):
                assert not fault.search(text), text


@pytest.mark.parametrize(
    ("fault", "text"),
    [
        (ABBREVIATED, "1 drop OD"),
        (ABBREVIATED, "2 drops, OU, qd"),
        (TRAILING_ZERO, "prednisolone 1.0%"),
        (TRAILING_ZERO, "0.50 mL"),
        (NAKED_DECIMAL, "timolol .5%"),
        (TRADE_SIGN, "Drops™"),
    ],
)
def test_the_faults_are_recognised(fault: re.Pattern[str], text: str) -> None:
    """Invariant 38: the patterns of the test above find what they are for."""
    assert fault.search(text)


def test_drugs_are_called_by_their_generic_names() -> None:
    """Invariant 38: the name of a drug is its components and their strengths, and nothing else is kept of it."""
    for drug in read_formulary(read_clinic()).values():
        assert drug.name == " + ".join(f"{part.generic} {part.strength}" for part in drug.components)
        assert set(type(drug).model_fields).isdisjoint({"brand", "trade_name", "maker"})
        assert not NAKED_DECIMAL.search(drug.name)
        assert not TRAILING_ZERO.search(drug.name)
        assert drug.name == drug.name.lower() or "IU" in drug.name or "mL" in drug.name


def parts(value: Any) -> Iterator[Any]:
    """Every dataclass and every tuple of a sheet."""
    if is_dataclass(value) and not isinstance(value, type):
        yield value
        for field in fields(value):
            yield from parts(getattr(value, field.name))
    elif isinstance(value, tuple):
        yield value
        for each in value:
            yield from parts(each)


def words_in(value: Any) -> list[str]:
    """What is said anywhere in a part of a sheet."""
    if isinstance(value, Said):
        return [value.plain]
    if is_dataclass(value) and not isinstance(value, type):
        return [text for field in fields(value) for text in words_in(getattr(value, field.name))]
    if isinstance(value, tuple):
        return [text for each in value for text in words_in(each)]
    return []


def pictures_of(document: Document) -> Iterator[tuple[str, Any]]:
    """Every drawing of the sheet with the part it stands in."""
    for part in parts(document.sections):
        if isinstance(part, tuple):
            inside: list[Any] = list(part)
        else:
            inside = [getattr(part, field.name) for field in fields(part)]
        for value in inside:
            if isinstance(value, str) and SVG.match(value):
                yield value, part


def test_bottles_are_told_apart_without_colour() -> None:
    """Invariant 40: each bottle has its own number, the number its own words, the shape follows the number."""
    for _, document in calendars():
        marks = {part for part in parts(document.sections) if isinstance(part, Mark)}
        assert len({mark.number for mark in marks}) == len({mark.text[0].plain for mark in marks})
        assert len({(mark.number, mark.shape) for mark in marks}) == len({mark.number for mark in marks})


def test_every_picture_says_in_words_what_it_shows() -> None:
    """Invariant 41: beside each drawing stand words; a sign in the cell of a day stands with its words elsewhere."""
    shown = 0
    for _, document in calendars():
        pictures = list(pictures_of(document))
        with_words = {svg for svg, part in pictures if any(text.strip() for text in words_in(part))}
        assert all(svg in with_words for svg, _ in pictures)
        shown += len(pictures)
    assert shown > 200


def test_words_under_pictures_are_in_the_patients_language() -> None:
    """Invariant 41: in Bengali no words of a picture are left in English (drug names and numbers aside)."""
    for tag, document in calendars():
        if tag == "bn":
            found = [
                " ".join(words_in(part))
                for _, part in pictures_of(document)
                if re.search("[A-Za-z]{4,}", " ".join(words_in(part)))
            ]
            names = {text for text in found if not re.search("[\u0980-\u09ff]", text)}
            assert names == set()


def test_warnings_and_telephone_on_every_page() -> None:
    """Invariant 42: the foot of every page of both sheets that go home has the warning signs and both telephones."""
    clinic = read_clinic()
    spoken = [document for _, document in calendars()]
    spoken.append(going_home(assess(shipped_case("ordinary"), clinic), Voice(("en",), "latin")))
    for document in spoken:
        assert document.footer is not None
        foot = document.footer[0].plain.replace("\u00a0", " ")
        assert clinic.telephone.day in foot
        assert clinic.telephone.night in foot
        assert len(foot) > len(clinic.telephone.day) + len(clinic.telephone.night) + 40


@pytest.mark.parametrize("tag", LANGUAGES)
def test_each_warning_sign_has_one_of_three_actions(tag: str) -> None:
    """Invariant 42: come now, telephone today, tell us at the visit; no sign stands under two of them."""
    sheet = going_home(assess(shipped_case("ordinary"), read_clinic()), Voice((tag,), "latin"))
    (warnings,) = [part for part in parts(sheet.sections) if isinstance(part, Warnings)]
    assert len(warnings.groups) == 3
    actions = [" ".join(line[0].plain for line in group.action) for group in warnings.groups]
    drawn = [words for group in warnings.groups for _, words in group.drawn]
    signs = [sign[0].plain for sign in (*drawn, *(sign for group in warnings.groups for sign in group.signs))]
    assert len(set(actions)) == 3
    assert len(set(signs)) == len(signs) >= 12


def first_page(case: Case) -> str:
    """What the first section of the calendar says."""
    document = drop_calendar(assess(case, read_clinic()), Voice(("en",), "latin"))
    return "\n".join(words_in(document.sections[0]))


def test_first_page_says_who_gives_the_drops() -> None:
    """Invariant 43: the helper by name, or that nobody is named yet."""
    case = shipped_case("ordinary")
    assert "her daughter" in first_page(case)
    nobody = case.model_copy(update={"patient": case.patient.model_copy(update={"drops_helper": None})})
    assert "her daughter" not in first_page(nobody)
    assert "drops are put in by" in first_page(nobody).lower()


def test_first_page_shows_teach_back() -> None:
    """Invariant 43: whether putting in a drop was shown and shown back; not known is not done."""
    case = shipped_case("ordinary")
    pages = {
        answer: first_page(
            case.model_copy(update={"patient": case.patient.model_copy(update={"drops_shown_back": answer})})
        )
        for answer in Answer
    }
    assert pages[Answer.YES] != pages[Answer.NO]
    assert pages[Answer.UNKNOWN] == pages[Answer.NO]
