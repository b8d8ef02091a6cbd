"""A catalogue is complete and sound, or it is refused with language, message and file named."""

from __future__ import annotations

from pathlib import Path

import pytest

from consent.errors import LanguageError
from consent.language import inspect_catalogue, languages, load_catalogue

FAULTS = {
    "missing": ('msgid "eye.right"\nmsgstr "**ডান** চোখ"', "", "eye.right", "missing"),
    "empty": ('msgstr "**ডান** চোখ"', 'msgstr ""', "eye.right", "empty"),
    "blank": ('msgstr "**ডান** চোখ"', 'msgstr "  "', "eye.right", "empty"),
    "fuzzy": ('msgid "eye.right"', '#, fuzzy\nmsgid "eye.right"', "eye.right", "fuzzy"),
    "unknown id": ('msgid "eye.right"', 'msgid "eye.wrong"\nmsgstr "চোখ"\n\nmsgid "eye.right"', "eye.wrong", "English"),
    "doubled": ('msgid "eye.right"', 'msgid "form.why"\nmsgstr "ঘোলা"\n\nmsgid "eye.right"', "form.why", "2 times"),
    "unknown slot": ("{phone} নম্বরে", "{phone} {fax} নম্বরে", "form.phone", "{fax}"),
    "slot left out": ("{phone} নম্বরে", "নম্বরে", "form.phone", "{phone}"),
    "broken slot": ("{phone} নম্বরে", "{phone} {Phone} নম্বরে", "form.phone", "bracket"),
    "form missing": ('msgstr[1] "{count} দিন ধরে"', "", "x.days", "plural form"),
    "slot left out of one form": ("{count} দিন ধরে", "দিন ধরে", "x.days", "{count}"),
    "no plural forms": ('msgid_plural "x.days"\nmsgstr[0] "{count} দিন"\nmsgstr[1]', "msgstr", "x.days", "plural"),
    "open emphasis": ("**ডান** চোখ", "**ডান চোখ", "eye.right", "emphasis"),
    "other emphasis": ("**ডান** চোখ", "*ডান* চোখ", "eye.right", "emphasis"),
    "context": ('msgid "eye.right"', 'msgctxt "a"\nmsgid "eye.right"', "eye.right", "context"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_every_fault_is_refused_by_name(name, tmp_path, write_catalogue, bodies):
    # Faults from the catalogue rules: same ids and slots as English, complete forms, nothing fuzzy.
    old, new, message_id, word = FAULTS[name]
    assert old in bodies["bn"]
    write_catalogue(tmp_path, "en", bodies["en"])
    path = write_catalogue(tmp_path, "bn", bodies["bn"].replace(old, new))
    with pytest.raises(LanguageError) as caught:
        load_catalogue("bn", tmp_path)
    problem = next(problem for problem in caught.value.problems if message_id in problem.where)
    assert str(path) in problem.where
    assert "bn" in problem.what
    assert word in problem.what


def test_all_faults_are_told_at_once(tmp_path, write_catalogue, bodies):
    write_catalogue(tmp_path, "en", bodies["en"])
    write_catalogue(tmp_path, "bn", bodies["bn"].replace("{phone} ", "").replace("**ডান** চোখ", ""))
    with pytest.raises(LanguageError) as caught:
        load_catalogue("bn", tmp_path)
    assert len(caught.value.problems) == 2


@pytest.mark.parametrize("header", ["nplurals=2; plural=(n != 1);", "", "nplurals=1; plural=0;"])
def test_bengali_header_must_count_nought_as_one(header, tmp_path, write_catalogue, bodies):
    # CLDR plurals.xml, bn: "one" is i = 0 or n = 1. Babel 2.18 would write n != 1.
    write_catalogue(tmp_path, "en", bodies["en"])
    write_catalogue(tmp_path, "bn", bodies["bn"], plurals=header)
    with pytest.raises(LanguageError, match="plural-forms"):
        load_catalogue("bn", tmp_path)


def test_header_names_the_language(tmp_path, write_catalogue, bodies):
    write_catalogue(tmp_path, "en", bodies["en"], language="en-US")
    with pytest.raises(LanguageError, match="language is 'en-US'"):
        load_catalogue("en", tmp_path)


def test_too_many_forms(tmp_path, write_catalogue, bodies):
    write_catalogue(tmp_path, "en", bodies["en"] + 'msgstr[2] "{count} days"\n')
    with pytest.raises(LanguageError, match="more translations than num_plurals"):
        load_catalogue("en", tmp_path)


@pytest.mark.parametrize("line", ['msgstr "open', 'msgtext "x"', "stray", 'msgid "x" "y"', "msgid"])
def test_malformed_line_is_named(line, tmp_path, write_catalogue, bodies):
    # Babel's parser drops the last letter of a string that is not closed; gettext's msgfmt calls it an error.
    path = write_catalogue(tmp_path, "en", bodies["en"] + line + "\n")
    number = path.read_text(encoding="utf-8").count("\n")
    with pytest.raises(LanguageError, match=f"line {number}"):
        load_catalogue("en", tmp_path)


def test_not_utf8(tmp_path, write_catalogue, bodies):
    path = write_catalogue(tmp_path, "en", bodies["en"])
    path.write_bytes(path.read_bytes() + b"# \xff\n")
    with pytest.raises(LanguageError, match="UTF-8"):
        load_catalogue("en", tmp_path)


@pytest.mark.parametrize("tag", ["zz", "../en", "", "EN", "hi"])
def test_language_that_is_not_there(tag, words):
    with pytest.raises(LanguageError):
        load_catalogue(tag, words)


def test_english_missing(tmp_path, write_catalogue, bodies):
    write_catalogue(tmp_path, "bn", bodies["bn"])
    with pytest.raises(LanguageError, match="en/LC_MESSAGES"):
        load_catalogue("bn", tmp_path)


def test_reading(words):
    catalogue = load_catalogue("bn", words)
    assert catalogue.message("eye.right").forms == ("**ডান** চোখ",)
    assert catalogue.message("x.days").forms == ("{count} দিন", "{count} দিন ধরে")
    assert catalogue.message("form.eye").slots == {"day", "eye", "time"}
    assert load_catalogue("en", words).message("form.why").comment == "Shown under the heading."
    assert languages(words) == ("bn", "en", "ur")


def test_unknown_message(words):
    with pytest.raises(LanguageError) as caught:
        load_catalogue("bn", words).message("form.nothing")
    assert "bn" in str(caught.value)
    assert "form.nothing" in str(caught.value)
    assert "consent.po" in str(caught.value)
    assert caught.value.exit_code == 7


def test_read_once(words, monkeypatch):
    first = load_catalogue("bn", words)
    monkeypatch.setattr(Path, "read_text", None)
    assert load_catalogue("bn", words) is first


def test_unfinished_language_can_be_looked_at(tmp_path, write_catalogue, bodies):
    write_catalogue(tmp_path, "en", bodies["en"])
    write_catalogue(tmp_path, "hi", 'msgid "form.why"\nmsgstr "लेंस **धुंधला** है।"\n')
    catalogue, problems = inspect_catalogue("hi", tmp_path)
    assert catalogue.message("form.why").forms == ("लेंस **धुंधला** है।",)
    assert sum("missing" in problem.what for problem in problems) == 5
