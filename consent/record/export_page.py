"""The page that opens what a patient is handed of the record: every fact, paper and entry, in words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from consent.clinic import Clinic
from consent.compose import Voice
from consent.errors import LanguageError
from consent.record.sheet import lines_of
from consent.record.state import CaseState, SealedSet

_TITLES = {
    "patient": "About you",
    "health": "Your health",
    "eye": "The eye",
    "other_eye": "The other eye",
    "fitness": "Before the operation",
    "measurement": "The measurement of the eye",
    "own_drops": "Drops you used already",
    "plan": "What was planned",
    "talk": "The talk with you",
    "figures_accepted": "Who accepted the figures for you",
    "answers": "What the surgeon answered to points that needed a look",
    "confirmation": "What you were asked on the day",
    "done": "What was done",
    "day1": "The first day after",
    "visits": "Visits",
    "drop_changes": "Other drops",
    "caps_seen": "Colours of caps as they were seen",
}
"""Parts of a case in the order in which they are told; a part that is not here comes after, under its own name."""
_NOT_TOLD = ("schema", "invented", "version")
_FIRST = ("name", "record_number", "birth_date", "sex", "telephone", "language")
"""Of a patient, what is told first."""
_UNITS = {"mm": "mm", "d": "D", "mmhg": "mmHg", "dl": "dL", "mm2": "mm²"}
_NO_ANSWER = ("unknown", "not asked", "")


@dataclass(frozen=True)
class Part:
    """One part of a case: what is known, each with its name, and the names of what is not."""

    title: str
    facts: tuple[tuple[str, str], ...]
    unknown: tuple[str, ...]


def page(clinic: Clinic, at: dt.datetime, cases: list[CaseState], files: Mapping[str, str]) -> str:
    """The page, in English; ``files``: the name of each signed file in the folder, by its SHA-256."""
    from consent.print.render import environment

    voice = Voice(("en",), clinic.digits)
    told = [_told(case, clinic, files, voice) for case in cases]
    template = environment().get_template("record/export.html")
    name = cases[0].data["patient"]["name"]
    return template.render(clinic=clinic, at=_day(at.astimezone(ZoneInfo(clinic.time_zone))), name=name, cases=told)


def _told(case: CaseState, clinic: Clinic, files: Mapping[str, str], voice: Voice) -> dict[str, Any]:
    sets = [_papers(one, files, clinic, voice) for one in reversed(case.sets)]
    return {
        "subject": case.subject,
        "state": voice.line(f"record.state.{case.state}")[0].plain,
        "version": case.version,
        "number": case.data["patient"]["record_number"],
        "eye": case.data.get("eye", {}).get("side", "unknown"),
        "parts": list(parts_of(case.data, voice)),
        "held": [one for one in sets if not one["since"]],
        "older": [one for one in sets if one["since"]],
        "entries": list(lines_of(case, clinic)),
    }


def _papers(one: SealedSet, files: Mapping[str, str], clinic: Clinic, voice: Voice) -> dict[str, Any]:
    ended = one.void or one.superseded
    zone = ZoneInfo(clinic.time_zone)
    return {
        "version": one.version,
        "by": one.by,
        "on": _day(one.at.astimezone(zone)),
        "since": _day(ended.at.astimezone(zone)) if ended else None,
        "how": "void" if one.void else "replaced",
        "papers": [
            (
                files[paper.digest],
                _named("sheet", paper.sheet, voice),
                ", ".join(_named("language", tag, voice) for tag in paper.languages),
                paper.pages,
            )
            for paper in one.papers
        ],
    }


def parts_of(data: Mapping[str, Any], voice: Voice) -> Iterator[Part]:
    """Every part of the case ``data`` in words; nothing that is in it is left out."""
    for key in sorted(data.keys() - set(_NOT_TOLD), key=_order):
        value = data[key]
        tree = value if isinstance(value, Mapping) else {"": value}
        rows = list(_rows(tree, voice))
        if rows:
            known = tuple((name, said) for name, said in rows if said not in _NO_ANSWER)
            unknown = tuple(name for name, said in rows if said in _NO_ANSWER)
            yield Part(_TITLES.get(key, _words(key)), known, unknown)


def _order(key: str) -> tuple[int, str]:
    return (list(_TITLES).index(key) if key in _TITLES else len(_TITLES), key)


def _rows(tree: Mapping[str, Any], voice: Voice, before: str = "") -> Iterator[tuple[str, str]]:
    for key in sorted(tree, key=lambda key: _FIRST.index(key) if key in _FIRST else len(_FIRST)):
        value = tree[key]
        name = ", ".join(part for part in (before, _words(key)) if part)
        if isinstance(value, Mapping):
            yield from _rows(value, voice, name)
        elif isinstance(value, list) and any(isinstance(one, Mapping) for one in value):
            for number, one in enumerate(value, 1):
                yield from _rows(one, voice, f"{name} {number}".strip())
        elif key == "language":
            yield name, _named("language", value, voice)
        elif value != []:
            yield name, ", ".join(map(_said, value)) if isinstance(value, list) else _said(value)


def _named(kind: str, name: str, voice: Voice) -> str:
    """The words for the ``kind`` of thing called ``name``; its name where an older program had words and we do not."""
    try:
        return voice.line(f"{kind}.{name}")[0].plain
    except LanguageError:
        return name.replace("-", " ")


def _words(key: str) -> str:
    """A key as words, its unit in brackets: ``axial_length_mm`` is "axial length (mm)"."""
    *words, last = key.split("_")
    if not words or last not in _UNITS:
        return key.replace("_", " ")
    return f"{' '.join(words)} ({_UNITS[last]})"


def _said(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if not isinstance(value, str):
        return str(value)
    try:
        moment = dt.datetime.fromisoformat(value) if value[4:5] == "-" else None
    except ValueError:
        moment = None
    if moment is None:
        return value
    return f"{_day(moment)}, {moment:%H:%M}" if "T" in value else _day(moment)


def _day(moment: dt.date) -> str:
    return f"{moment.day} {moment:%B %Y}"
