"""``consent languages``: state of each translation, its second reading, and the clinic's own review of it."""

from __future__ import annotations

import argparse
import datetime as dt
from collections.abc import Mapping
from typing import Any

from consent.clinic import Clinic, read_clinic
from consent.commands import out
from consent.commands.settings import clinic_path
from consent.errors import Problem, UsageError
from consent.language import SIGNABLE, Catalogue, Counts, Rung, counts, languages, load_catalogue, release_of
from consent.language.reading import Read, read_reading, unread
from consent.language.reviewing import vouch


def run(options: argparse.Namespace) -> None:
    """Do what ``options.act`` says; without an act, tell the state of every language."""
    {None: _all, "show": _show, "read": _read, "review": _review}[options.act](options)


def _all(options: argparse.Namespace) -> None:
    """How many messages of each language stand on which rung."""
    clinic = _clinic(options)
    found = {tag: counts(tag, reviewed=clinic.words_folder) for tag in languages()}
    again = {tag: state.total - len(unread(tag, load_catalogue("en").messages)) for tag, state in found.items()}
    if options.json:
        out.as_json({tag: _as_data(state, again[tag]) for tag, state in found.items()})
        return
    for tag, state in found.items():
        rungs = ", ".join(f"{count} {_name(rung)}" for rung, count in state.by_rung.items() if count)
        out.data(f"{tag:4} {state.total} messages: {rungs}; stale: {state.stale}; read a second time: {again[tag]}")
    out.chatter(
        f"Patients' sheets are for signing from the rung {_name(SIGNABLE)} on; below it they are practice copies."
    )


def _as_data(state: Counts, again: int) -> dict[str, Any]:
    rungs = {int(rung): count for rung, count in state.by_rung.items() if count}
    return {"messages": state.total, "stale": state.stale, "read_again": again, "rungs": rungs}


def _show(options: argparse.Namespace) -> None:
    """Sheet by sheet, what is missing, stale, or not read a second time."""
    clinic, tag = _clinic(options), _tag(options)
    rows = {sheet: _sheet(tag, ids, clinic) for sheet, ids in _sheets(clinic).items()}
    if options.json:
        out.as_json(rows)
        return
    for sheet, row in rows.items():
        told = f"{row['messages']} messages, lowest rung {row['lowest_rung']} ({_name(Rung(row['lowest_rung']))})"
        lists = [f"{key}: {', '.join(row[key])}" for key in ("missing", "stale") if row[key]]
        lists += [f"not read a second time: {len(row['not_read_again'])}"] if row["not_read_again"] else []
        out.data("; ".join([f"{sheet}: {told}", *lists]))


def _sheet(tag: str, ids: frozenset[str], clinic: Clinic) -> dict[str, Any]:
    state = release_of(ids, tag, reviewed=clinic.words_folder)
    return {
        "messages": len(ids),
        "lowest_rung": int(state.lowest),
        "may_be_signed": state.may_be_signed,
        "by": list(state.by),
        "missing": list(state.missing),
        "stale": list(state.stale),
        "not_read_again": list(unread(tag, sorted(ids))),
    }


def _read(options: argparse.Namespace) -> None:
    """Each message: what it says, what a second reader understood, and the English."""
    tag = _tag(options)
    english, words, reading = load_catalogue("en"), load_catalogue(tag), read_reading(tag)
    wanted = _wanted(options, _clinic(options))
    stale = frozenset(unread(tag, wanted))
    found = {name: reading.messages[name] for name in wanted if reading and name not in stale}
    if options.json:
        out.as_json([_told(name, english, words, found.get(name)) for name in wanted])
        return
    for name in wanted:
        read = found.get(name)
        out.data(f"{name}\n  {tag:8} {' | '.join(words.message(name).forms)}")
        out.data(f"  read as  {read.back if read else 'not read a second time'}")
        out.data(f"  English  {' | '.join(english.message(name).forms)}")
        if read and read.note:
            out.data(f"  note     {read.note}")


def _told(name: str, english: Catalogue, words: Catalogue, read: Read | None) -> dict[str, Any]:
    return {
        "message": name,
        "english": list(english.message(name).forms),
        "words": list(words.message(name).forms),
        "read_as": read.back if read else None,
        "outcome": read.outcome if read else None,
        "note": read.note if read else None,
    }


def _review(options: argparse.Namespace) -> None:
    """Raise messages to a rung, by somebody with a name and a qualification."""
    tag, own = _tag(options), clinic_path(options.clinic)
    clinic = read_clinic(own)
    folder = clinic.words_folder
    if own is None or folder is None:
        raise UsageError(
            Problem(
                "there are no settings of a clinic",
                "--clinic",
                "who vouches for words does so for one clinic; its review is kept beside its settings",
                "name the clinic's settings file with --clinic FILE",
            )
        )
    wanted = _wanted(options, clinic)
    raised = vouch(tag, wanted, Rung(options.rung), options.by, dt.datetime.now(dt.UTC).date(), folder)
    if options.json:
        out.as_json({"language": tag, "rung": options.rung, "by": options.by, "raised": list(raised)})
        return
    out.data(f"{tag}: {len(raised)} of {len(wanted)} messages raised to {_name(Rung(options.rung))}, by {options.by}")
    out.chatter(f"Kept in {folder}. A message whose words or English change falls back by itself.")


def _wanted(options: argparse.Namespace, clinic: Clinic) -> list[str]:
    """The messages asked for by name, by sheet, or all, in the order of the catalogue."""
    everything = load_catalogue("en").messages
    chosen = set(options.message)
    if unknown := chosen - everything.keys():
        raise UsageError(Problem(f"there is no message {sorted(unknown)[0]!r}", "--message", remedy="leave it out"))
    sheets = _sheets(clinic) if options.sheet else {}
    for sheet in options.sheet:
        if sheet not in sheets:
            remedy = f"choose from: {', '.join(sheets)}"
            raise UsageError(Problem(f"there is no sheet {sheet!r}", "--sheet", remedy=remedy))
        chosen |= sheets[sheet]
    if not (options.message or options.sheet or options.all):
        remedy = "name --sheet SHEET or --message ID, or say --all"
        raise UsageError(Problem("it is not said which messages", "languages", remedy=remedy))
    return [name for name in everything if options.all or name in chosen]


def _sheets(clinic: Clinic) -> Mapping[str, frozenset[str]]:
    from consent.pack.sheet_messages import messages_of_sheets

    return messages_of_sheets(clinic, frozenset(load_catalogue("en").messages))


def _clinic(options: argparse.Namespace) -> Clinic:
    return read_clinic(clinic_path(options.clinic))


def _tag(options: argparse.Namespace) -> str:
    if options.tag not in languages():
        remedy = f"choose from: {', '.join(languages())}"
        raise UsageError(Problem(f"there are no words in {options.tag!r}", "language", remedy=remedy))
    return str(options.tag)


def _name(rung: Rung) -> str:
    return rung.name.lower().replace("_", " ")
