"""The surgeon's list: what needs an eye, the gravest first."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from litestar.response import Template
from markupsafe import Markup

from consent.desk.here import Here, Visitor
from consent.desk.routes import shown
from consent.desk.waiting import Waiting, groups
from consent.record.moves import Role, State
from consent.wording import remark

_NAMED = 3
"""Factors named in one line."""
_MOST = 10
"""Cases shown open of a group that may wait; the others are a tap away."""


@dataclass(frozen=True)
class Row:
    """One patient of the list, ready to be shown. ``path``: where the work on it is done."""

    waiting: Waiting
    drives: tuple[Markup, ...]
    unknown: tuple[Markup, ...]
    more: int
    path: str
    action: str


@shown("/surgeon", (Role.SURGEON,))
def show_list(here: Here) -> Template:
    shelf = here.office.shelf
    found, broken = groups(shelf.cases(), shelf.assessment, here.office.today)
    rows = [
        (group.words, [_row(one, here) for one in group.cases], _MOST if group.may_wait else len(group.cases))
        for group in found
    ]
    return here.page("surgeon.html", groups=rows, broken=broken)


def _row(waiting: Waiting, here: Visitor) -> Row:
    words = here.words
    drivers = sorted(waiting.assessment.risks["capsule_rupture"].drivers, key=lambda one: -one.ratio)
    known = [one for one in drivers if one.known]
    drives = [
        words.say("review.driver", factor=remark(f"factor.{one.factor}"), ratio=one.ratio) for one in known[:_NAMED]
    ]
    unknown = [words.remark(remark(f"factor.{one.factor}")) for one in drivers if not one.known]
    path, action = _work(waiting, here.office.today)
    return Row(waiting, tuple(drives), tuple(unknown), max(0, len(known) - _NAMED), path, action)


def _work(waiting: Waiting, today: dt.date) -> tuple[str, str]:
    """Where the next step is done, and the message that names it."""
    at = f"/case/{waiting.case.subject}"
    if waiting.case.state in (State.SIGNED_OFF, State.CONSENTED) and waiting.case.case.plan.date < today:
        return f"{at}/review", "surgeon.go.review"
    if waiting.case.state is State.CONSENTED:
        return f"{at}/confirm", "surgeon.go.confirm"
    if waiting.case.state is State.CONFIRMED:
        return f"{at}/done", "surgeon.go.done"
    if waiting.due and (waiting.stops or waiting.asks):
        return f"{at}/review", "surgeon.go.review"
    if "surgeon.due.aftercare" in waiting.due:
        return f"{at}/aftercare", "surgeon.go.aftercare"
    if waiting.due:
        return f"{at}/first-day", "surgeon.go.first-day"
    return f"{at}/review", "surgeon.go.review"


HANDLERS = [show_list]
