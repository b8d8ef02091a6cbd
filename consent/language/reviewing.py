"""A clinic vouches for words: its own status file, which raises messages as they stand today to a rung."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from pathlib import Path

from consent.errors import Problem, UsageError
from consent.language.catalogue import SOURCE_LANGUAGE, load_catalogue
from consent.language.ladder import Ladder, Record, Rung, ladder_text, read_ladder
from consent.language.status import reviewed_path, standings_of

_ABOUT = "reviewed by the clinic; the words themselves are the program's"


def vouch(
    tag: str, ids: Iterable[str], rung: Rung, by: str, on: date, reviewed: Path, directory: Path | None = None
) -> tuple[str, ...]:
    """Raise the messages ``ids`` of a language to ``rung`` in the clinic's folder ``reviewed``; return those raised.

    ``by`` is name and qualification. A record holds for the words and the English of today: when either changes, the
    message falls back. Messages that stand as high already, by words that still hold, are left alone.

    Raises ``LanguageError`` for a message that is not there, ``UsageError`` where ``by`` names no qualification.
    """
    if len([part for part in by.split(",") if part.strip()]) < 2:
        raise UsageError(
            Problem(
                f"{by!r} is not a name and a qualification",
                "--by",
                "whoever signs in these words must be able to ask who vouched for them",
                'write both, with a comma: --by "A. Name, MBBS, reads Bengali as first language"',
            )
        )
    english, words = load_catalogue(SOURCE_LANGUAGE, directory), load_catalogue(tag, directory)
    standing = standings_of(tag, directory, reviewed)
    path = reviewed_path(tag, reviewed)
    ladder = read_ladder(path) if path.exists() else Ladder(_ABOUT, on, {})
    raised = {
        name: Record(english.message(name).fingerprint, rung, words.message(name).fingerprint, by.strip(), on)
        for name in ids
        if standing[english.message(name).id].rung < rung
    }
    reviewed.mkdir(parents=True, exist_ok=True)
    text = ladder_text(replace(ladder, records={**ladder.records, **raised}))
    beside = path.with_suffix(".toml.new")
    beside.write_text(text, encoding="utf-8")
    beside.replace(path)
    return tuple(raised)
