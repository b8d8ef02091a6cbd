"""The record of a second reading holds for the words that were read, and for no others."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from consent.errors import LanguageError
from consent.language import inspect_catalogue
from consent.language.reading import About, Read, Reading, read_reading, reading_path, reading_text, unread
from consent.language.renew import renewed

ON = dt.date(2027, 2, 9)


@pytest.fixture
def folder(tmp_path: Path, write_catalogue, bodies) -> Path:
    for tag in ("en", "bn"):
        write_catalogue(tmp_path, tag, bodies[tag])
    words, _ = inspect_catalogue("bn", tmp_path)
    messages = {
        name: Read(text=message.fingerprint, back=f'what "{name}" says') for name, message in words.messages.items()
    }
    why = {"back": "it is white", "outcome": "kept", "note": "a lens is said so"}
    messages["form.why"] = messages["form.why"].model_copy(update=why)
    about = About(read_by="a reader", date=ON, method="back into English")
    text = reading_text(Reading(reading=about, messages=messages))
    reading_path("bn", tmp_path).write_text(text, encoding="utf-8")
    return tmp_path


def test_what_was_written_is_read_back(folder: Path) -> None:
    found = read_reading("bn", folder)
    assert found is not None
    about = found.reading
    assert (about.read_by, about.date, about.method) == ("a reader", ON, "back into English")
    assert found.messages["form.why"].outcome == "kept"
    assert found.messages["form.why"].note == "a lens is said so"
    assert found.messages["eye.right"].back == 'what "eye.right" says'


def test_nothing_is_left_to_read_until_words_change(folder: Path, write_catalogue, bodies) -> None:
    everything = inspect_catalogue("en", folder)[0].messages
    assert unread("bn", everything, folder) == ()
    write_catalogue(folder, "bn", bodies["bn"].replace("ঘোলা", "সাদা"))
    inspect_catalogue.cache_clear()
    assert unread("bn", everything, folder) == ("form.why",)


def test_what_was_read_but_not_compared_is_left(folder: Path) -> None:
    path = reading_path("bn", folder)
    path.write_text(path.read_text(encoding="utf-8").replace('outcome = "kept"', 'outcome = "waits"'), encoding="utf-8")
    assert unread("bn", inspect_catalogue("en", folder)[0].messages, folder) == ("form.why",)


def test_without_a_record_everything_is_left(folder: Path) -> None:
    reading_path("bn", folder).unlink()
    everything = tuple(inspect_catalogue("en", folder)[0].messages)
    assert read_reading("bn", folder) is None
    assert unread("bn", everything, folder) == everything


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('"kept"', '"well"', "messages.form.why.outcome"),
        ("[reading]", "[reading", "the file is not TOML"),
        ("back =", "bak =", "this key is not known"),
    ],
)
def test_a_damaged_record_is_refused_by_file(old: str, new: str, told: str, folder: Path) -> None:
    path = reading_path("bn", folder)
    path.write_text(path.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
    with pytest.raises(LanguageError) as refused:
        read_reading("bn", folder)
    assert told in str(refused.value)
    assert str(path) in str(refused.value)


def test_renewing_keeps_words_takes_notes_from_english_and_leaves_room(folder: Path, write_catalogue, bodies) -> None:
    again = renewed("bn", folder)
    words, _ = inspect_catalogue("bn", folder)
    write_catalogue(folder, "bn", bodies["bn"])
    (folder / "bn" / "LC_MESSAGES" / "consent.po").write_text(again, encoding="utf-8")
    inspect_catalogue.cache_clear()
    same, problems = inspect_catalogue("bn", folder)
    assert problems == ()
    assert {name: message.forms for name, message in same.messages.items()} == {
        name: message.forms for name, message in words.messages.items()
    }
    assert renewed("bn", folder) == again
    begun = renewed("ne", folder)
    assert '"Language: ne\\n"' in begun
    assert begun.count('msgstr ""') >= len(words.messages) - 1
