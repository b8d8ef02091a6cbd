"""The record of one case as a sheet: every entry, what it changed, the signed papers and whether they hold."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

from markupsafe import Markup

from consent.clinic import Clinic
from consent.compose import Document, Voice
from consent.compose.document import Block, Facts, Line, Para, Section, Table
from consent.compose.frame import finish
from consent.compose.page_code import short_code
from consent.compose.voice import joined
from consent.language import Day, Said, Verbatim, Year
from consent.record.patch import merge, paths
from consent.record.place import Record
from consent.record.state import CaseState, SealedSet, Told
from consent.review import assess, differences
from consent.wording import remark

SHEET = "record"


def record_sheet(record: Record, case: CaseState, tag: str) -> Document:
    """The composed record of ``case`` in the language ``tag``, for staff. ``RecordError`` where it was erased."""
    voice = Voice((tag,), record.clinic.digits)
    assessment = assess(case.case, record.clinic)
    sections = [
        Section("state", None, (_facts(case, voice),)),
        Section("papers", voice.line("record.papers"), (_papers(case, voice),)),
    ]
    if case.case.done is not None:
        sections.append(Section("differences", voice.line("record.differences"), tuple(_differences(case, voice))))
    entries = entries_table(case, record.clinic, voice)
    sections.append(Section("entries", voice.line("record.entries"), (entries, *_chain(case, voice))))
    title = voice.line("record.title")
    sheet = finish(voice, assessment, SHEET, title, tuple(sections), patient_sheet=False, for_staff=True)
    return replace(sheet, marks=(voice.line("record.staff-only"), *sheet.marks[1:]))


def _facts(case: CaseState, voice: Voice) -> Facts:
    return Facts(
        (
            (voice.line("record.state"), voice.line(f"record.state.{case.state}")),
            (voice.line("record.version"), voice.show(Year(case.version))),
            (voice.line("record.number"), voice.show(Verbatim(case.subject))),
        )
    )


def _papers(case: CaseState, voice: Voice) -> Block:
    if not case.sets:
        return Para(voice.line("record.no-papers"))
    names = ("head.papers", "version", "head.code", "head.who", "head.holds")
    head = tuple(voice.line(f"record.{name}") for name in names)
    return Table(head, tuple(_sealed(one, voice) for one in case.sets), style="record")


def _sealed(one: SealedSet, voice: Voice) -> tuple[Line, ...]:
    sheets = joined([voice.line(f"sheet.{paper.sheet}") for paper in one.papers], ", ")
    code = voice.show(Verbatim(" ".join(short_code(one.code))))
    return (sheets, voice.show(Year(one.version)), code, voice.quoted(one.by), _holds(one, voice))


def _holds(one: SealedSet, voice: Voice) -> Line:
    if one.void is not None:
        return voice.line("record.void", entry=Year(one.void.sequence))
    if one.superseded is not None:
        return voice.line("record.superseded", entry=Year(one.superseded.sequence))
    return voice.line("record.holds")


def _differences(case: CaseState, voice: Voice) -> Iterator[Block]:
    found = tuple(differences(case.case))
    for one in found:
        message = "record.agreed" if one.agreed else "record.not-agreed"
        yield Para(voice.line(message, told=one.told))
    if not found:
        yield Para(voice.line("record.no-differences"))


def entries_table(case: CaseState, clinic: Clinic, voice: Voice) -> Table:
    """Every entry of ``case`` as a row: its number, when, who, and what."""
    head = tuple(voice.line(f"record.head.{name}") for name in ("place", "when", "who", "what"))
    zone = ZoneInfo(clinic.time_zone)
    rows = []
    before: Mapping[str, Any] = {}
    for told in case.history:
        rows.append(_row(told, (*_voids(told, case, voice), *_changes(told, before, voice)), zone, voice))
        before = merge(before, told.patch)
    return Table(head, tuple(rows), style="record")


def _row(told: Told, effects: Sequence[Line], zone: ZoneInfo, voice: Voice) -> tuple[Line, ...]:
    entry = told.entry
    at = entry.at.astimezone(zone)
    role = remark(f"record.role.{entry.role}")
    who = voice.line("record.person", name=Verbatim(entry.person), role=role)
    what = [voice.line(f"record.kind.{entry.kind}"), *_details(told, voice), *effects]
    when = voice.line("record.moment", date=Day(at.date(), "long"), time=dt.time(at.hour, at.minute))
    return (voice.show(Year(entry.sequence)), when, who, _below_one_another(what))


def _below_one_another(lines: Sequence[Line]) -> Line:
    """The first line bold, each further one on a line of its own."""
    return tuple(
        Said("<br>".join((f"<b>{said[0].html}</b>", *(one.html for one in said[1:]))), "; ".join(map(str, said)))
        for said in zip(*lines, strict=True)
    )


def _details(told: Told, voice: Voice) -> Iterator[Line]:
    if made := told.entry.body.get("sealed"):
        yield voice.each("record.detail", name=voice.line("record.version"), value=voice.show(Year(made["version"])))
        code = voice.show(Verbatim(" ".join(short_code(made["code"]))))
        yield voice.each("record.detail", name=voice.line("record.head.code"), value=code)
    for name, value in told.details.items():
        if name == "reason":
            yield voice.each("record.reason", reason=voice.quoted(str(value)))
        elif name != "code":
            yield voice.each("record.detail", name=voice.show(Verbatim(name)), value=voice.quoted(_written(value)))


def lines_of(case: CaseState, clinic: Clinic) -> Iterator[tuple[str, ...]]:
    """Every entry of ``case`` in English, ready for a page: its number, when, who, and what with line breaks."""
    for number, when, who, what in entries_table(case, clinic, Voice(("en",), clinic.digits)).rows:
        yield (number[0].plain, when[0].plain, who[0].plain, Markup(what[0].html))  # noqa: S704  escaped when it was said


def _voids(told: Told, case: CaseState, voice: Voice) -> Iterator[Line]:
    for one in case.sets:
        if one.void is not None and one.void.sequence == told.entry.sequence:
            yield voice.line("record.voids", version=Year(one.version))


def _changes(told: Told, before: Mapping[str, Any], voice: Voice) -> Iterator[Line]:
    """What changed; of a case just opened, all that is in it did."""
    for path in paths(told.patch) if told.entry.kind != "opened" else ():
        if path != "version":
            yield _change(voice, path, _at(before, path), _at(told.patch, path))


_UNANSWERED = ("unknown", "not asked")
"""A value that is no answer yet: what takes its place was entered, not changed."""


def _change(voice: Voice, path: str, old: Any, new: Any) -> Line:
    if isinstance(old, list) and isinstance(new, list):
        # Of a list, what is told is what was put in and what was taken out.
        old, new = [one for one in old if one not in new] or None, [one for one in new if one not in old] or None
    old = None if old in _UNANSWERED else old
    slots = {"key": voice.show(Verbatim(path))}
    if old is not None:
        slots["before"] = voice.quoted(_written(old))
    if new is not None:
        slots["now"] = voice.quoted(_written(new))
    message = "record.taken-out" if new is None else "record.added" if old is None else "record.change"
    return voice.each(message, **slots)


def _at(tree: Any, path: str) -> Any:
    for key in path.split("."):
        tree = tree.get(key) if isinstance(tree, Mapping) else None
    return tree


def _written(value: Any) -> str:
    """A value of a case as people read it: a list as its members, a table as its keys and values."""
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {_written(inner)}" for key, inner in value.items())
    if isinstance(value, list):
        return "; ".join(map(_written, value))
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)


def _chain(case: CaseState, voice: Voice) -> Iterator[Block]:
    last = case.history[-1].entry
    yield Para(voice.line("record.chain", entry=Year(last.sequence), digest=Verbatim(last.hash)), style="small")
    yield Para(voice.line("record.chain-means"), style="small")
