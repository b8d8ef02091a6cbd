"""One word for one thing, as the glossary of a language says, or with a reason."""

from __future__ import annotations

from pathlib import Path

import pytest

from consent.errors import LanguageError
from consent.language.glossary import Term, glossary, glossary_path, strays, terms

ENGLISH = '[term.lens]\nenglish = ["lens", "lenses"]\nmeaning = "the lens"\n'


@pytest.fixture
def folder(tmp_path: Path, write_catalogue, bodies) -> Path:
    for tag in ("en", "bn"):
        write_catalogue(tmp_path, tag, bodies[tag])
    write(tmp_path, "en", ENGLISH)
    write(tmp_path, "bn", '[term.lens]\nsaid = ["লেন্স"]\n')
    return tmp_path


def write(folder: Path, tag: str, text: str) -> None:
    glossary_path(tag, folder).write_text(text, encoding="utf-8")


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("The lens is hard.", True),
        ("Two LENSES", True),
        ("lensed, or a lense", False),
        ("The new {lens} is here.", False),
        ("The clear lens, not a contact lens", True),
        ("contact lens", False),
    ],
)
def test_a_term_is_found_by_whole_words_outside_slots(text: str, found: bool) -> None:
    term = Term(english=("lens", "lenses"), meaning="the lens", not_english=("contact lens",))
    assert term.is_in(text) == found


def test_a_term_may_hold_a_slot() -> None:
    assert Term(english=("out of {whole} people",), meaning="a frequency").is_in("Out of {whole} people, {count}")


def test_words_as_listed_are_no_strays(folder: Path) -> None:
    assert list(strays("bn", folder)) == []


def test_a_message_that_says_it_otherwise_is_named(folder: Path) -> None:
    write(folder, "bn", '[term.lens]\nsaid = ["কাচ"]\n')
    (stray, *_) = strays("bn", folder)
    assert stray.where == 'message "form.why"'
    assert "lens" in stray.what


def test_a_reason_settles_it_and_a_reason_for_nothing_is_named(folder: Path) -> None:
    named = {problem.where.split('"')[1] for problem in _otherwise(folder, said="কাচ", ids=())}
    assert named
    assert list(_otherwise(folder, said="কাচ", ids=tuple(named))) == []
    (stray,) = _otherwise(folder, said="লেন্স", ids=("form.why",))
    assert "said as usual" in stray.what


def _otherwise(folder: Path, said: str, ids: tuple[str, ...]):
    glossary.cache_clear()
    reasons = "\n".join(f'"{name}" = "why"' for name in ids)
    write(folder, "bn", f'[term.lens]\nsaid = ["{said}"]\n[term.lens.otherwise]\n{reasons}\n')
    return list(strays("bn", folder))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "term.lens is missing"),
        ('[term.lens]\nsaid = ["লেন্স"]\n[term.eye]\nsaid = ["চোখ"]\n', "term.eye is unknown"),
        ("[term.lens]\nsaid = []\n", "said is empty"),
        ('[term.lens]\nsaid = ["\\u0995\\u09c7\\u09be"]\n', "not in Unicode form NFC"),
        ('[term.lens]\nsaid = ["x"]\nmore = 1\n', "this key is not known"),
        ("[term.lens", "the file is not TOML"),
    ],
)
def test_a_wrong_glossary_is_refused_by_file_and_key(text: str, told: str, folder: Path) -> None:
    write(folder, "bn", text)
    with pytest.raises(LanguageError) as refused:
        glossary("bn", folder)
    assert told in str(refused.value)
    assert "glossary.toml" in str(refused.value)


def test_no_glossary(folder: Path) -> None:
    glossary_path("bn", folder).unlink()
    with pytest.raises(LanguageError, match="cannot be read"):
        glossary("bn", folder)


def test_brackets_are_in_messages_that_there_are() -> None:
    from consent.language import load_catalogue

    known = load_catalogue("en").messages
    assert [name for term in terms().values() for name in term.bracket_in if name not in known] == []
