"""What a case wants of the surgeon next: one thing, said in a sentence."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from consent.desk.waiting import Waiting, due, visits_ahead
from consent.record.moves import State


@dataclass(frozen=True)
class NextStep:
    """``words``: message that says how things stand; ``action``: that names the step; ``path``: where it is done;
    ``clear``: nothing stands in the way of a sign-off, and no stop is overridden; ``date``: that the words name."""

    words: str
    action: str
    path: str
    clear: bool = False
    date: dt.date | None = None


def next_step(waiting: Waiting, is_clear: bool, today: dt.date) -> NextStep:
    """The one next step. ``is_clear``: nothing stands in the way of a sign-off."""
    state, at = waiting.case.state, f"/case/{waiting.case.subject}"
    if state is State.EXPLAINED:
        return _review(waiting, is_clear)
    if state in (State.SIGNED_OFF, State.CONSENTED) and waiting.case.case.plan.date < today:
        return NextStep("look.next.late", "surgeon.go.done", f"{at}/done")
    if state is State.CONSENTED:
        if waiting.case.case.plan.date > today:
            return NextStep("look.next.consented", "look.go.list", _LIST)
        return NextStep("look.next.confirm", "surgeon.go.confirm", f"{at}/confirm")
    if state is State.CONFIRMED:
        return NextStep("look.next.done", "surgeon.go.done", f"{at}/done")
    if state is State.DONE:
        return _after(waiting, at, today)
    if state in _NOT_TOLD:
        answers = waiting.stops or waiting.asks
        if not answers:
            return NextStep("look.next.not-told", "look.go.list", _LIST)
        return NextStep("look.next.not-told", "look.go.points", "#points")
    return NextStep(_STANDS.get(state, "look.next.over"), "look.go.list", _LIST)


_LIST = "/surgeon"
_NOT_TOLD = frozenset({State.DRAFT, State.SENT_BACK, State.WANTS_TIME})
_STANDS = {State.SIGNED_OFF: "look.next.signed-off"}


def _review(waiting: Waiting, is_clear: bool) -> NextStep:
    if is_clear and waiting.overridden:
        return NextStep("look.next.sign-overridden", "look.go.sign", "#sign")
    if is_clear:
        return NextStep("look.next.sign", "look.go.sign", "#sign", clear=True)
    if waiting.stops:
        return NextStep("look.next.stops", "look.go.points", "#points")
    if waiting.asks:
        return NextStep("look.next.asks", "look.go.answer", "#points")
    return NextStep("look.next.lacking", "look.go.lacking", "#sign")


def _after(waiting: Waiting, at: str, today: dt.date) -> NextStep:
    wanted = due(waiting.case, today)
    if "surgeon.due.aftercare" in wanted and (waiting.stops or waiting.asks):
        return NextStep("look.next.after-open", "look.go.answer", "#points")
    if "surgeon.due.aftercare" in wanted:
        return NextStep("look.next.aftercare", "surgeon.go.aftercare", f"{at}/aftercare")
    if wanted:
        return NextStep("look.next.first-day", "surgeon.go.first-day", f"{at}/first-day")
    return _later(waiting, at, today)


def _later(waiting: Waiting, at: str, today: dt.date) -> NextStep:
    """What comes once the papers for home are signed; closing is the last of all."""
    case = waiting.case.case
    morning = case.plan.date + dt.timedelta(days=1)
    if case.day1 is None:
        return NextStep("look.next.morning-ahead", "look.go.list", _LIST, date=morning)
    if ahead := visits_ahead(waiting.case, today):
        return NextStep("look.next.visits-ahead", "look.go.list", _LIST, date=ahead[0])
    if not case.all_visits:
        return NextStep("look.next.no-visit", "look.go.visits", f"{at}/enter/home")
    return NextStep("look.next.after", "surgeon.go.close", f"{at}/close")
