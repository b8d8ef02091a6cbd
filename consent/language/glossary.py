"""The words that carry the meaning: how each language says them, and where a message says one otherwise.

``locales/en/glossary.toml`` lists the terms and what each stands for; the same file of every other language lists the
stems by which it says each, its usual word first, and names the messages that say it otherwise, with the reason.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path

from pydantic import Field

from consent.case.part import Part
from consent.case.reading import read_model
from consent.errors import LanguageError, Problem
from consent.language.catalogue import SOURCE_LANGUAGE, inspect_catalogue, language_folder
from consent.language.po import SLOT


class Term(Part):
    """One idea. ``english``: the forms that stand for it in English messages, but for those within ``not_english``.

    ``bracket``: the English word a clinic will use, which stands once in brackets in the messages ``bracket_in`` of
    every language that is not written in Latin letters.
    """

    english: tuple[str, ...]
    meaning: str
    not_english: tuple[str, ...] = ()
    bracket: str = ""
    bracket_in: tuple[str, ...] = ()

    def is_in(self, text: str) -> bool:
        """Whether an English text speaks of it; what fills a slot is said elsewhere."""
        for other in self.not_english:
            text = re.sub(rf"(?<![a-z]){re.escape(other)}(?![a-z])", " ", text, flags=re.I)
        bare = SLOT.sub(" ", text)
        return any(_stands(words, text if SLOT.search(words) else bare) for words in self.english)


class Wording(Part):
    """How a language says a term: the stems that stay inside every form of its words; and, message by message, why it
    is said otherwise there."""

    said: tuple[str, ...]
    otherwise: dict[str, str] = Field(default_factory=dict)

    def is_in(self, text: str) -> bool:
        """Whether a text of the language speaks of it."""
        return any(stem in text for stem in self.said)


class _Terms(Part):
    term: dict[str, Term]


class _Wordings(Part):
    term: dict[str, Wording] = Field(default_factory=dict)


def _stands(words: str, text: str) -> bool:
    return re.search(rf"(?<![a-z]){re.escape(words)}(?![a-z])", text, re.I) is not None


@cache
def terms(directory: Path | None = None) -> Mapping[str, Term]:
    """The terms by id. LanguageError naming file and key for anything that is not as described here."""
    path = glossary_path(SOURCE_LANGUAGE, directory)
    return read_model(path, _Terms, LanguageError, str(path)).term


@cache
def glossary(tag: str, directory: Path | None = None) -> Mapping[str, Wording]:
    """How a language says each term. LanguageError where one is missing, unknown, or not written in form NFC."""
    path = glossary_path(tag, directory)
    found = read_model(path, _Wordings, LanguageError, str(path)).term
    for name in terms(directory).keys() ^ found.keys():
        raise _error(path, f"term.{name} is {'unknown' if name in found else 'missing'}")
    for name, wording in found.items():
        if not wording.said or any(not unicodedata.is_normalized("NFC", stem) or not stem for stem in wording.said):
            raise _error(path, f"term.{name}: said is empty or not in Unicode form NFC")
    return found


def glossary_path(tag: str, directory: Path | None = None) -> Path:
    """The glossary of a language."""
    return language_folder(tag, directory) / "glossary.toml"


def strays(tag: str, directory: Path | None = None) -> Iterator[Problem]:
    """Each message whose English has a term that the language does not say as its glossary does; and each exception
    that is none."""
    english, _ = inspect_catalogue(SOURCE_LANGUAGE, directory)
    words, _ = inspect_catalogue(tag, directory)
    wordings = glossary(tag, directory)
    for name, term in terms(directory).items():
        wording = wordings[name]
        left = dict(wording.otherwise)
        for message in english.messages.values():
            own = words.messages.get(message.id)
            if own is None or not any(term.is_in(form) for form in message.forms):
                continue
            if all(wording.is_in(form) for form in own.forms):
                continue
            if left.pop(message.id, None) is None:
                yield Problem(f"{tag}: says {name!r} in other words: {own.forms[0]}", f'message "{message.id}"')
        yield from (Problem(f"{tag}: {name!r} is said as usual, or not at all", f'"{message}"') for message in left)


def _error(path: Path, what: str) -> LanguageError:
    return LanguageError(Problem(what, str(path), "a thing that has two names on one paper is taken for two things"))
