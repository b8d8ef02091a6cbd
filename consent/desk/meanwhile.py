"""Two people in one case: what the other one entered, and what of mine they changed as well."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from markupsafe import Markup

from consent.desk.entry import Entered
from consent.desk.here import Visitor
from consent.desk.typed import NOTHING, at
from consent.language import Quoted
from consent.record.cases import changed_since
from consent.record.ledger import Entry
from consent.record.patch import difference, overlap, paths
from consent.record.state import CaseState
from consent.wording import Remark, remark


@dataclass(frozen=True)
class News:
    """What others entered, a line each; the keys of the case they touched; who else has the case open."""

    lines: tuple[Markup, ...]
    paths: tuple[str, ...]
    others: tuple[Markup, ...]


def news(here: Visitor, case: CaseState, since: int) -> News:
    """What others entered in ``case`` after the entry ``since``, and who else looks at it now."""
    entries = [entry for entry in changed_since(case, since) if entry.account != here.me.id]
    touched = dict.fromkeys(path for entry in entries for path in entry.body.get("touched", ()))
    others = here.office.presence.here(case.subject, here.me)
    return News(
        tuple(_line(here, entry) for entry in entries),
        tuple(touched),
        tuple(here.words.typed(name) for name in others),
    )


def _line(here: Visitor, entry: Entry) -> Markup:
    local = entry.at.astimezone(here.office.zone)
    named = [
        here.words.plain(f"field.{path}") for path in entry.body.get("touched", ()) if here.words.has(f"field.{path}")
    ]
    what = ", ".join(named[:_NAMED]) or here.words.plain(f"record.kind.{entry.kind}")
    more = len(named) - _NAMED
    time = local.time().replace(second=0, microsecond=0)
    said = here.words.say("entry.other", name=Quoted(entry.person), time=time, what=Quoted(what))
    return said + (Markup(" ") + here.words.count("entry.and-more", more) if more > 0 else Markup(""))


_NAMED = 4


def clash(here: Visitor, before: CaseState, now: CaseState, read: Entered) -> Entered:
    """``read`` against the case as it is ``now``: what both changed is held back and shown with what the other wrote.

    Nothing is lost: what was typed stays in the form, and sending it again puts it over the other's.
    """
    ours = difference(before.data, read.data)
    theirs = difference(before.data, now.data)
    both = overlap(tuple(paths(ours)), tuple(paths(theirs)))
    faults: dict[str, Remark] = {path: _other(here, now, path) for path in both}
    mine = set(paths(ours))
    return replace(read, faults={**read.faults, **faults}, held_back=read.held_back | mine)


def _other(here: Visitor, now: CaseState, path: str) -> Remark:
    theirs = at(now.data, path)
    text = here.words.plain("entry.nothing") if theirs is NOTHING else _written(theirs)
    return remark("entry.clash", theirs=Quoted(text))


def _written(value: Any) -> str:
    if isinstance(value, Mapping):
        return ", ".join(str(one) for one in value.values())
    return ", ".join(_written(one) for one in value) if isinstance(value, list) else str(value)
