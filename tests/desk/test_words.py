"""The words of the pages: complete in each language, in its own letters, each one used, none missing."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator

import pytest

from consent.case import Case
from consent.clinic import read_clinic
from consent.desk.fields import Field, fields_of
from consent.desk.ordered import course
from consent.desk.pages.settings import _fields as settings_fields
from consent.desk.screens import elsewhere, screens
from consent.desk.settling import settled_at, settled_points
from consent.desk.words import Words, interface_languages
from consent.drops.formulary import read_formulary
from consent.drops.regimens import read_regimens, shipped_tables
from consent.language import (
    DESK_DOMAIN,
    fonts_for,
    inspect_catalogue,
    languages,
    load_catalogue,
    script_of,
    uncovered_by_all,
)
from consent.language.po import SLOT
from consent.resources import package_data, templates

TAGS = languages(domain=DESK_DOMAIN)
UNITS = (
    *("mm", "mmHg", "mg/dL", "mL", "D", "INR", "LOCS", "III", "CF", "HM", "PL", "NPL", "logMAR", "decimal", "cells"),
    *("TOML", "PDF", "CSV", "XLSX", "ODS", "QR", "TLS", "consent", "clinic", "FILE", "serve", "restore"),
)
"""Latin letters that stay: units, names of file formats, commands to be typed, notations of acuity."""


def test_the_pages_speak_the_languages_they_should() -> None:
    assert {"en", "bn", "hi"} <= set(interface_languages())


@pytest.mark.parametrize("tag", TAGS)
def test_complete_and_sound(tag: str) -> None:
    _, problems = inspect_catalogue(tag, None, DESK_DOMAIN)
    assert [str(problem) for problem in problems] == []


@pytest.mark.parametrize("tag", [tag for tag in TAGS if tag != "en"])
def test_own_letters_and_a_font_that_has_them(tag: str) -> None:
    script = script_of(tag)
    allowed = set("".join(UNITS))
    for message in load_catalogue(tag, None, DESK_DOMAIN).messages.values():
        for form in message.forms:
            text = SLOT.sub(" ", form)
            letters = {letter for letter in text if letter.isalpha() and "LATIN" in unicodedata.name(letter, "")}
            for word in re.findall(r"[A-Za-z]+", text):
                assert any(word in unit or unit in word for unit in UNITS), (tag, message.id, word)
            assert letters <= allowed | set(" "), (tag, message.id)
            assert uncovered_by_all(text, fonts_for(tag)) == [], (tag, message.id)
    assert script


def needed() -> Iterator[str]:
    """Every message that a form asks for: it is read off the models."""

    def of(field: Field) -> Iterator[str]:
        yield field.words
        yield from (choice.words for choice in field.choices)
        if field.unit:
            yield field.unit
        for inner in field.inner:
            yield from of(inner)

    for one in fields_of(Case, ""):
        if one.path != "schema_version":
            yield from of(one)
    for one in settings_fields():
        yield from of(one)
    yield from (screen.words for screen in screens())
    yield from (place.words for place in map(settled_at, settled_points()) if place)


def test_every_question_has_words() -> None:
    known = load_catalogue("en", None, DESK_DOMAIN).messages
    assert sorted(set(needed()) - known.keys()) == []


def test_every_shipped_course_of_drops_has_its_name_in_each_language() -> None:
    titles = {f"course.{name}": table["title"] for name, table in shipped_tables().items()}
    english = load_catalogue("en", None, DESK_DOMAIN).messages
    assert {name: one.forms[0] for name, one in english.items() if name.startswith("course.")} == titles
    regimen = read_regimens(read_clinic(), read_formulary(read_clinic()))["drop-free"]
    words = Words("bn")
    assert words.show(course(regimen, words)) == words.say("course.drop-free") != "drop-free"
    own = regimen.model_copy(update={"title": "As our house does it"})
    assert str(words.show(course(own, words))) == "As our house does it"


def test_no_label_is_the_name_of_a_key() -> None:
    # A label that was never written would be the key itself, with its underscores taken out.
    english = load_catalogue("en", None, DESK_DOMAIN).messages
    raw = [
        one.path
        for one in fields_of(Case, "")
        if "_" in one.name and one.words in english and english[one.words].forms[0] == one.name.replace("_", " ")
    ]
    assert raw == []


def test_every_message_of_a_page_is_there_and_used() -> None:
    english = load_catalogue("en", None, DESK_DOMAIN).messages
    sheets = load_catalogue("en").messages
    texts = [path.read_text(encoding="utf-8") for path in (templates() / "desk").rglob("*.html")]
    texts += [path.read_text(encoding="utf-8") for path in package_data("desk").rglob("*.py")]
    texts += [path.read_text(encoding="utf-8") for path in package_data("desk").rglob("*.toml")]
    written = "\n".join(texts)
    named = set(re.findall(r"""(?:say|plain|count|said)\(\s*['"]([a-z][\w.-]*[\w])['"]\s*[,)]""", written))
    assert sorted(name for name in named if name not in english and name not in sheets) == []
    asked = set(needed())
    families = set(
        re.findall(r"""f?["']([a-z][a-z-]*(?:\.[a-z-]+)*[.-])["']\s*~|f["']([a-z][a-z-]*(?:\.[a-z-]+)*\.)\{""", written)
    )
    starts = tuple(start for pair in families for start in pair if start)
    unused = [
        name
        for name in english
        if name not in asked
        and not name.startswith("problem.")  # test_told.py
        and f"'{name}'" not in written
        and f'"{name}"' not in written
        and not name.startswith(starts)
    ]
    about = {name for name in unused if name.endswith(".about") and name.removesuffix(".about") in english}
    assert sorted(set(unused) - about) == []


def test_every_key_of_the_case_is_asked_somewhere() -> None:
    on_screens = {one.path for screen in screens() for one in screen.fields}
    left = [
        one.path
        for one in fields_of(Case, "")
        if one.path not in on_screens
        and one.path != "schema_version"
        and not any(one.path == name or one.path.startswith(f"{name}.") for name in elsewhere())
    ]
    assert left == []
    assert "schema" in elsewhere() and len(on_screens) == sum(len(screen.fields) for screen in screens())
