"""The words of one language, complete and checked against English, or not at all."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from consent.errors import LanguageError, Problem
from consent.language.plurals import plural_header, plural_rule
from consent.language.po import BOLD, SLOT, Message, PoFile, read_po
from consent.resources import locales

SOURCE_LANGUAGE = "en"
SHEETS_DOMAIN, DESK_DOMAIN = "consent", "desk"
"""Two catalogues a language: the words on paper, and those of the pages in a browser, which fewer languages have."""


@dataclass(frozen=True)
class Catalogue:
    """All messages of one language by id."""

    tag: str
    path: Path
    messages: Mapping[str, Message]

    def message(self, message_id: str) -> Message:
        """The message of that id; LanguageError naming language, id and file if there is none."""
        found = self.messages.get(message_id)
        if found is None:
            raise LanguageError(self._problem(message_id, "there is no such message"))
        return found

    def _problem(self, message_id: str, what: str) -> Problem:
        return Problem(
            what=f"{self.tag}: {what}",
            where=f'{self.path}, message "{message_id}"',
            why="a sheet is never printed with words missing or in another language",
        )


def language_folder(tag: str, directory: Path | None = None) -> Path:
    """Folder that holds a language's catalogue and status; ``directory`` replaces the program's own locales folder."""
    return (directory or locales()) / tag


def catalogue_path(tag: str, directory: Path | None = None, domain: str = SHEETS_DOMAIN) -> Path:
    """The gettext file of a language."""
    return language_folder(tag, directory) / "LC_MESSAGES" / f"{domain}.po"


def languages(directory: Path | None = None, domain: str | None = None) -> tuple[str, ...]:
    """Tags of every language that has a folder, or of those with a catalogue of ``domain``, in alphabetical order."""
    tags = sorted(folder.name for folder in (directory or locales()).iterdir() if folder.is_dir())
    return tuple(tag for tag in tags if domain is None or catalogue_path(tag, directory, domain).is_file())


@cache
def load_catalogue(tag: str, directory: Path | None = None, domain: str = SHEETS_DOMAIN) -> Catalogue:
    """The catalogue of a language, read once per process.

    LanguageError lists everything wrong with it: messages missing, unknown, empty, fuzzy or doubled, slots or emphasis
    that differ from English, plural forms missing, a header that is not the language's own.
    """
    catalogue, problems = inspect_catalogue(tag, directory, domain)
    if problems:
        raise LanguageError(problems)
    return catalogue


@cache
def inspect_catalogue(
    tag: str, directory: Path | None = None, domain: str = SHEETS_DOMAIN
) -> tuple[Catalogue, tuple[Problem, ...]]:
    """A catalogue as it stands and everything wrong with it, for those who are still working on it."""
    path = catalogue_path(tag, directory, domain)
    found = read_po(path, plural_rule(tag).forms)
    catalogue = Catalogue(tag, path, {message.id: message for message in found.entries})
    if tag == SOURCE_LANGUAGE:
        english = catalogue
    else:
        english, _ = inspect_catalogue(SOURCE_LANGUAGE, directory, domain)
    return catalogue, (*_header_problems(catalogue, found), *_message_problems(catalogue, english, found))


def _header_problems(catalogue: Catalogue, found: PoFile) -> Iterator[Problem]:
    expected = {"plural-forms": plural_header(catalogue.tag), "language": catalogue.tag}
    for name, value in expected.items():
        written = found.header.get(name, "")
        if written.replace(" ", "") != value.replace(" ", ""):
            yield Problem(
                what=f"{catalogue.tag}: the header {name} is {written!r}",
                where=str(catalogue.path),
                remedy=f"write {value!r}",
            )


def _message_problems(catalogue: Catalogue, english: Catalogue, found: PoFile) -> Iterator[Problem]:
    faults: list[tuple[str, str]] = []
    times = Counter(message.id for message in found.entries)
    faults += [(name, f"written {count} times") for name, count in times.items() if count > 1]
    faults += [(name, "has a context, or two different ids") for name in found.in_context]
    faults += [(name, "missing") for name in english.messages if name not in catalogue.messages]
    for message in found.entries:
        faults += [(message.id, fault) for fault in _faults(message, english.messages.get(message.id))]
    for name, fault in faults:
        yield catalogue._problem(name, fault)


def _faults(message: Message, english: Message | None) -> Iterator[str]:
    if message.fuzzy:
        yield "marked fuzzy"
    if message.empty:
        yield "a plural form is empty or missing" if message.plural else "empty"
    if english is None:
        yield "not a message of the English catalogue"
        return
    if message.plural != english.plural:
        yield "has plural forms in one of this language and English, but not in both"
    for form in filter(str.strip, message.forms):
        yield from _form_faults(form, english.slots)


def _form_faults(form: str, slots: frozenset[str]) -> Iterator[str]:
    named = set(SLOT.findall(form))
    if named != slots:
        yield f"the slots are {_listed(named)}, but English has {_listed(slots)}"
    bare = SLOT.sub("", form)
    if "{" in bare or "}" in bare:
        yield "a curly bracket that belongs to no slot"
    if form.count(BOLD) % 2 or "*" in form.replace(BOLD, ""):
        yield "emphasis ** that is not closed, or a single *"


def _listed(names: set[str] | frozenset[str]) -> str:
    return ", ".join(f"{{{name}}}" for name in sorted(names)) or "none"
