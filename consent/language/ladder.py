"""The status file of a language: which rung of the review ladder each message has reached, by whom and when."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import IntEnum
from pathlib import Path
from typing import Any

from consent.errors import LanguageError, Problem

REFRESH = "python -m consent.language.refresh"
_FINGERPRINT = re.compile(r"[0-9a-f]{12}")


class Rung(IntEnum):
    """The ladder every message climbs in every language."""

    MISSING = 0
    MACHINE_DRAFT = 1
    HUMAN_DRAFT = 2
    REVISED = 3
    BACK_TRANSLATED = 4
    CLINICIAN_CHECKED = 5
    LAY_TESTED = 6
    RELEASED = 7


SIGNABLE = Rung.CLINICIAN_CHECKED
"""From this rung on a patient's sheet may be printed for signing; below it the sheet is a practice copy."""


@dataclass(frozen=True)
class Record:
    """What is known of one message: fingerprints of the English and of the words, the rung, by whom and when."""

    source: str
    rung: Rung
    text: str = ""
    by: str = ""
    on: date | None = None


@dataclass(frozen=True)
class Ladder:
    """A status file: who drafted the language and when, and a record per message id."""

    drafted_by: str
    date: date
    records: Mapping[str, Record]
    note: str = ""


def read_ladder(path: Path) -> Ladder:
    """A status file; LanguageError naming file and key for anything unknown, missing or of the wrong kind."""
    data = _toml(path)
    _only_keys(data, {"ladder", "messages"}, set(), path, "file")
    ladder = data["ladder"]
    _only_keys(ladder, {"drafted_by", "date"}, {"note"}, path, "ladder")
    if not isinstance(ladder["date"], date):
        raise status_error(path, "ladder: date is not a date", "write it as 2026-03-05, without quotation marks")
    if not isinstance(data["messages"], dict):
        raise status_error(path, "messages is not a table")
    records = {name: _record(entry, path, name) for name, entry in data["messages"].items()}
    return Ladder(str(ladder["drafted_by"]), ladder["date"], records, str(ladder.get("note", "")))


def ladder_text(ladder: Ladder) -> str:
    """The status file as TOML."""
    head = ["[ladder]", f"drafted_by = {quoted(ladder.drafted_by)}", f"date = {ladder.date.isoformat()}"]
    if ladder.note:
        head.append(f"note = {quoted(ladder.note)}")
    lines = [f"{quoted(name)} = {_entry(record)}" for name, record in ladder.records.items()]
    return "\n".join([*head, "", "[messages]", *lines, ""])


def status_error(path: Path, what: str, remedy: str = "") -> LanguageError:
    """An error about a status file."""
    why = "a sheet may be signed only in words whose review is recorded"
    return LanguageError(Problem(what=what, where=str(path), why=why, remedy=remedy))


def _toml(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise status_error(
            path, "there is no status file", f"for a language of the program, run: {REFRESH} TAG"
        ) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise status_error(path, f"not well formed TOML ({error})") from None


def _record(entry: Any, path: Path, name: str) -> Record:
    where = f'message "{name}"'
    _only_keys(entry, {"source", "rung"}, {"text", "by", "on"}, path, where)
    if type(entry["rung"]) is not int or entry["rung"] not in list(Rung):
        raise status_error(path, f"{where}: rung {entry['rung']!r} is not a whole number from 0 to 7")
    for key in {"source", "text"} & entry.keys():
        if not _FINGERPRINT.fullmatch(str(entry[key])):
            raise status_error(path, f"{where}: {key} is not a fingerprint of 12 hexadecimal digits")
    record = Record(**{**entry, "rung": Rung(entry["rung"])})
    if record.rung >= SIGNABLE and not (record.text and record.by and isinstance(record.on, date)):
        raise status_error(
            path,
            f"{where}: rung {int(record.rung)} without the words it was given for, a name and a date",
            "add text (fingerprint of the words), by (name and qualification) and on (date)",
        )
    return record


def _only_keys(entry: Any, needed: set[str], allowed: set[str], path: Path, where: str) -> None:
    if not isinstance(entry, dict):
        raise status_error(path, f"{where} is not a table")
    for key in sorted(needed - entry.keys()):
        raise status_error(path, f"{where}: the key {key} is missing")
    for key in sorted(entry.keys() - needed - allowed):
        raise status_error(path, f"{where}: the key {key} is not known")


def _entry(record: Record) -> str:
    keys = [f'source = "{record.source}"', f"rung = {int(record.rung)}"]
    keys += [f'text = "{record.text}"'] if record.text else []
    keys += [f"by = {quoted(record.by)}"] if record.by else []
    keys += [f"on = {record.on.isoformat()}"] if record.on else []
    return f"{{ {', '.join(keys)} }}"


def quoted(text: str) -> str:
    """``text`` as a TOML string, letters of every script as they are."""
    return json.dumps(text, ensure_ascii=False)
