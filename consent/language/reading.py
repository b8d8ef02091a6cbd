"""A second, independent reading of a language: what its words say, told back in English without sight of the source.

``locales/<tag>/reading.toml`` keeps, message by message, the words that were read (their fingerprint), what they say,
and what came of the comparison with the source. It is no review: it raises no rung of the ladder.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Literal, get_args

from consent.errors import LanguageError, Problem
from consent.language.catalogue import inspect_catalogue, language_folder
from consent.language.po import Message

Outcome = Literal["same", "mended", "kept", "waits"]
"""It says what English says; it did not, and was mended; it was queried, and kept for the reason in ``note``; it was
read, and nobody has compared it yet: then ``note`` is what the reader remarked."""


@dataclass(frozen=True)
class Read:
    """One message as it was read: fingerprint of the words, what they say in English, outcome, and a note."""

    text: str
    back: str
    outcome: Outcome = "same"
    note: str = ""


@dataclass(frozen=True)
class Reading:
    """Who read a language, when and how, and what each message was found to say."""

    read_by: str
    date: date
    method: str
    messages: Mapping[str, Read]


def reading_path(tag: str, directory: Path | None = None) -> Path:
    """The record of the second reading of a language."""
    return language_folder(tag, directory) / "reading.toml"


def read_reading(tag: str, directory: Path | None = None) -> Reading | None:
    """The second reading of a language; None where there was none. LanguageError naming file and key for a fault."""
    path = reading_path(tag, directory)
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
        head = data["reading"]
        messages = {name: _read(entry) for name, entry in data["messages"].items()}
        return Reading(str(head["read_by"]), head["date"], str(head["method"]), messages)
    except FileNotFoundError:
        return None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, KeyError, TypeError, ValueError) as error:
        raise LanguageError(
            Problem(f"the record of the second reading is damaged ({error})", str(path), remedy="fetch it again")
        ) from None


def reading_text(reading: Reading) -> str:
    """The record as TOML."""
    head = [
        "[reading]",
        f"read_by = {_quoted(reading.read_by)}",
        f"date = {reading.date.isoformat()}",
        f"method = {_quoted(reading.method)}",
    ]
    lines = [f"{_quoted(name)} = {_entry(read)}" for name, read in reading.messages.items()]
    return "\n".join([*head, "", "[messages]", *lines, ""])


def unread(tag: str, ids: Iterable[str], directory: Path | None = None) -> tuple[str, ...]:
    """Those of the messages ``ids`` whose words of today nobody has read a second time and compared with English."""
    words, _ = inspect_catalogue(tag, directory)
    found = read_reading(tag, directory)
    known = found.messages if found else {}
    return tuple(name for name in ids if name in words.messages and not _is_read(known.get(name), words.messages[name]))


def _is_read(read: Read | None, words: Message) -> bool:
    return read is not None and read.outcome != "waits" and read.text == words.fingerprint


def _read(entry: Mapping[str, Any]) -> Read:
    read = Read(**entry)
    if read.outcome not in get_args(Outcome):
        raise ValueError(f"outcome {read.outcome!r}")
    return read


def _entry(read: Read) -> str:
    keys = [f"text = {_quoted(read.text)}", f"back = {_quoted(read.back)}"]
    keys += [f"outcome = {_quoted(read.outcome)}"] if read.outcome != "same" else []
    keys += [f"note = {_quoted(read.note)}"] if read.note else []
    return f"{{ {', '.join(keys)} }}"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
