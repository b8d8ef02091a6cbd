"""Every language of the program, as it lies in locales/: complete, in its own letters, and drawable by its font."""

from __future__ import annotations

import re
import unicodedata
from pathlib import Path

import pytest

from consent.language import (
    DESK_DOMAIN,
    SHEETS_DOMAIN,
    Catalogue,
    catalogue_path,
    direction,
    fonts_for,
    inspect_catalogue,
    languages,
    load_catalogue,
    script_of,
    uncovered,
    uncovered_by_all,
)
from consent.language.catalogue import SOURCE_LANGUAGE
from consent.language.glossary import strays, terms
from consent.language.ladder import read_ladder
from consent.language.po import SLOT
from consent.language.reading import read_reading, unread
from consent.language.renew import renewed
from consent.language.status import status_path
from consent.resources import locales

TAGS = languages()
every_language = pytest.mark.parametrize("tag", TAGS)
every_domain = pytest.mark.parametrize("domain", [SHEETS_DOMAIN, DESK_DOMAIN])


def texts(catalogue: Catalogue) -> list[tuple[str, str]]:
    """Every form of every message with its id, slots taken out."""
    return [(message.id, SLOT.sub(" ", form)) for message in catalogue.messages.values() for form in message.forms]


def test_folders_are_all_walked():
    # A folder without a catalogue, or catalogues without English, must not pass by being skipped.
    folders = sorted(path.name for path in locales().iterdir() if path.is_dir())
    assert list(TAGS) == folders
    assert [tag for tag in TAGS if not catalogue_path(tag).is_file()] == []
    assert not TAGS or "en" in TAGS


@every_language
def test_complete_and_sound(tag):
    # Same ids and slots as English, plural forms complete, nothing fuzzy, empty or doubled.
    _, problems = inspect_catalogue(tag)
    assert [str(problem) for problem in problems] == []
    assert load_catalogue(tag).messages.keys() == load_catalogue("en").messages.keys()


@every_language
def test_status_has_every_message(tag):
    assert set(read_ladder(status_path(tag)).records) == set(load_catalogue(tag).messages)


@every_language
def test_status_is_fresh(tag):
    # After words change, `python -m consent.language.refresh` must have been run.
    records = read_ladder(status_path(tag)).records
    messages = load_catalogue(tag).messages
    assert [name for name, record in records.items() if record.text != messages[name].fingerprint] == []


@every_language
def test_every_letter_can_be_drawn(tag):
    fonts = fonts_for(tag)
    found = {name: left for name, text in texts(load_catalogue(tag)) if (left := uncovered_by_all(text, fonts))}
    assert found == {}


@every_language
def test_no_latin_letters_in_another_script(tag):
    if script_of(tag) == "Latn":
        return
    brackets = {name: term.bracket for term in terms().values() for name in term.bracket_in}
    words = [
        (name, word)
        for name, text in texts(load_catalogue(tag))
        for word in re.findall(r"[A-Za-z]+", text.replace(f"({brackets.get(name)})", ""))
    ]
    assert words == []


@every_language
def test_the_word_the_clinic_uses_stands_once_in_brackets(tag):
    # A family meets "cataract" or "lens" at the clinic; the patient's own word stands before it.
    if script_of(tag) == "Latn":
        return
    messages = load_catalogue(tag).messages
    found = [
        (name, term.bracket)
        for term in terms().values()
        for name in term.bracket_in
        if not all(re.search(rf"\S \({term.bracket}\)", form) for form in messages[name].forms)
    ]
    assert found == []


@every_language
def test_terms_are_said_as_the_glossary_says(tag):
    if tag != SOURCE_LANGUAGE:
        assert [str(problem) for problem in strays(tag)] == []


@every_language
def test_words_were_read_a_second_time(tag):
    # ISPOR, Wild 2005, 10.1111/j.1524-4733.2005.04054.x, step of back translation; English is the source.
    if tag == SOURCE_LANGUAGE:
        return
    reading = read_reading(tag)
    assert reading is not None
    assert unread(tag, load_catalogue(SOURCE_LANGUAGE).messages) == ()
    assert set(reading.messages) <= set(load_catalogue(SOURCE_LANGUAGE).messages)
    assert all(read.back.strip() for read in reading.messages.values())
    assert all(read.note for read in reading.messages.values() if read.outcome in ("mended", "kept"))


@every_language
@pytest.mark.parametrize("weight", ["Regular", "Bold"])
def test_no_word_is_of_two_faces(tag, weight):
    # A word that falls back for one of its letters changes its look in the middle; marks around it may.
    fonts = fonts_for(tag, weight)
    words = {word for _, text in texts(load_catalogue(tag)) for word in re.findall(r"[^\W\d_]\S*[^\W\d_]", text)}
    for word in words:
        for part in re.findall(r"[A-Za-z]+|[^A-Za-z\s]+", word):
            letters = "".join(c for c in part if unicodedata.category(c)[0] in "LM" or c in "\u200c\u200d")
            assert not letters or any(uncovered(letters, font) == [] for font in fonts), word


@every_domain
def test_every_message_has_a_note_for_translators(domain):
    assert [name for name, message in load_catalogue("en", None, domain).messages.items() if not message.comment] == []


@every_domain
@every_language
def test_a_catalogue_keeps_step_with_the_english_one(tag, domain):
    # After messages are added or notes change, `python -m consent.language.renew` must have been run.
    if tag in languages(domain=domain):
        assert catalogue_path(tag, None, domain).read_text(encoding="utf-8") == renewed(tag, None, domain)


@every_language
def test_numbers_in_words_are_those_of_english(tag):
    # Numbers belong in slots; one that is written out must at least be the same one.
    def written(text: str) -> list[str]:
        return ["".join(str(unicodedata.digit(c)) for c in run) for run in re.findall(r"\d+", text)]

    english = {name: set(written(" ".join(m.forms))) for name, m in load_catalogue("en").messages.items()}
    stray = [(name, n) for name, text in texts(load_catalogue(tag)) for n in written(text) if n not in english[name]]
    assert stray == []


@every_language
def test_letters_are_composed(tag):
    # Unicode Standard Annex 15, form NFC: the same word is the same text for search and comparison.
    decomposed = [name for name, text in texts(load_catalogue(tag)) if not unicodedata.is_normalized("NFC", text)]
    assert decomposed == []


@every_language
def test_no_hidden_direction_marks(tag):
    # Isolation is the program's work; a mark typed by hand is invisible to the next translator.
    marks = re.compile("[\u200e\u200f\u061c\u202a-\u202e\u2066-\u2069]")
    assert [name for name, text in texts(load_catalogue(tag)) if marks.search(text)] == []
    assert direction(tag) in ("ltr", "rtl")


def test_the_walk_finds_faults(tmp_path: Path, write_catalogue, bodies):
    # The checks above must be able to fail: a small language with a Latin word and an undrawable letter.
    write_catalogue(tmp_path, "en", bodies["en"])
    write_catalogue(tmp_path, "bn", bodies["bn"].replace("ঘোলা", "cloudy 𓂀"))
    found = " ".join(text for _, text in texts(load_catalogue("bn", tmp_path)))
    assert re.findall(r"[A-Za-z]+", found) == ["cloudy"]
    assert uncovered_by_all(found, fonts_for("bn")) == ["𓂀"]
