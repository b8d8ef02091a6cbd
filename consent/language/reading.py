"""A second, independent reading of a language: what its words say, told back in English without sight of the source.

``locales/<tag>/reading.toml`` keeps, message by message, the words that were read (their fingerprint), what they say,
and what came of the comparison with the source. It is no review: it raises no rung of the ladder.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import Literal

from consent.case.part import Part
from consent.case.reading import read_model
from consent.errors import LanguageError
from consent.language.catalogue import inspect_catalogue, language_folder
from consent.language.ladder import quoted
from consent.language.po import Message

Outcome = Literal["same", "mended", "kept", "waits"]
"""It says what English says; it did not, and was mended; it was queried, and kept for the reason in ``note``; it was
read, and nobody has compared it yet: then ``note`` is what the reader remarked."""


class Read(Part):
    """One message as it was read: fingerprint of the words, what they say in English, outcome, and a note."""

    text: str
    back: str
    outcome: Outcome = "same"
    note: str = ""


class About(Part):
    """Who read a language, when and how."""

    read_by: str
    date: date
    method: str


class Reading(Part):
    """One reading of a language, and what each message was found to say."""

    reading: About
    messages: dict[str, Read]


def reading_path(tag: str, directory: Path | None = None) -> Path:
    """The record of the second reading of a language."""
    return language_folder(tag, directory) / "reading.toml"


def read_reading(tag: str, directory: Path | None = None) -> Reading | None:
    """The second reading of a language; None where there was none. LanguageError naming file and key for a fault."""
    path = reading_path(tag, directory)
    return read_model(path, Reading, LanguageError, str(path)) if path.exists() else None


def reading_text(reading: Reading) -> str:
    """The record as TOML."""
    about = reading.reading
    head = [
        "[reading]",
        f"read_by = {quoted(about.read_by)}",
        f"date = {about.date.isoformat()}",
        f"method = {quoted(about.method)}",
    ]
    lines = [f"{quoted(name)} = {_entry(read)}" for name, read in reading.messages.items()]
    return "\n".join([*head, "", "[messages]", *lines, ""])


def unread(tag: str, ids: Iterable[str], directory: Path | None = None) -> tuple[str, ...]:
    """Those of the messages ``ids`` whose words of today nobody has read a second time and compared with English."""
    words, _ = inspect_catalogue(tag, directory)
    found = read_reading(tag, directory)
    known = found.messages if found else {}
    return tuple(name for name in ids if name in words.messages and not _is_read(known.get(name), words.messages[name]))


def _is_read(read: Read | None, words: Message) -> bool:
    return read is not None and read.outcome != "waits" and read.text == words.fingerprint


def _entry(read: Read) -> str:
    keys = [f"text = {quoted(read.text)}", f"back = {quoted(read.back)}"]
    keys += [f"outcome = {quoted(read.outcome)}"] if read.outcome != "same" else []
    keys += [f"note = {quoted(read.note)}"] if read.note else []
    return f"{{ {', '.join(keys)} }}"
