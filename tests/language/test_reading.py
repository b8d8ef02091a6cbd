"""The record of a second reading holds for the words that were read, and for no others."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from consent.errors import LanguageError
from consent.language import inspect_catalogue
from consent.language.reading import Read, Reading, read_reading, reading_path, reading_text, unread
from consent.language.renew import renewed

ON = dt.date(2027, 2, 9)


@pytest.fixture
def folder(tmp_path: Path, write_catalogue, bodies) -> Path:
    for tag in ("en", "bn"):
        write_catalogue(tmp_path, tag, bodies[tag])
    words, _ = inspect_catalogue("bn", tmp_path)
    messages = {name: Read(message.fingerprint, f'what "{name}" says') for name, message in words.messages.items()}
    messages["form.why"] = Read(words.messages["form.why"].fingerprint, "it is white", "kept", "a lens is said so")
    text = reading_text(Reading("a reader", ON, "back into English", messages))
    reading_path("bn", tmp_path).write_text(text, encoding="utf-8")
    return tmp_path


def test_what_was_written_is_read_back(folder: Path) -> None:
    found = read_reading("bn", folder)
    assert found is not None
    assert (found.read_by, found.date, found.method) == ("a reader", ON, "back into English")
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


@pytest.mark.parametrize("wrong", ["outcome", "[reading", "no such key"])
def test_a_damaged_record_is_refused_by_file(wrong: str, folder: Path) -> None:
    path = reading_path("bn", folder)
    text = path.read_text(encoding="utf-8")
    changes = {
        "outcome": ('"kept"', '"well"'),
        "[reading": ("[reading]", "[reading"),
        "no such key": ("back =", "bak ="),
    }
    path.write_text(text.replace(*changes[wrong]), encoding="utf-8")
    with pytest.raises(LanguageError, match="second reading is damaged"):
        read_reading("bn", folder)


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
