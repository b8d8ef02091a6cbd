"""Prints how many drop plans a second, and ratios: to the slow engine, to two libraries of dates, to a warm Chromium.

The engine makes a whole plan (rows, days, sittings, bottles) from an order, its regimens read and checked anew each
time, as a command does; a second figure leaves the reading out. The slow engine (``tests/drops/slow_engine.py``) makes
the same from regimens already read. The libraries only
expand: ``dateutil.rrule`` the daily rules of the same plan into every date and time, ``recurring_ical_events`` the
plan's own calendar file into every event. For the paper, both sides print the same HTML of the calendar again and
again in one process; Chromium is kept open by playwright, which is no dependency of this project:
``pip install playwright`` puts it in, and the installed ``chromium`` is driven. Not a test: nothing is asserted.
"""

from __future__ import annotations

import datetime as dt
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from random import Random
from unittest.mock import patch

import icalendar
import recurring_ical_events
from dateutil.rrule import DAILY, rrule

from consent.case import read_case
from consent.clinic import read_clinic
from consent.compose import Voice, drop_calendar
from consent.drops import DropPlan, plan_drops
from consent.drops import plan as plan_module
from consent.errors import DropsError
from consent.pack import compose_pack
from consent.pack.telephone import calendar_file
from consent.print import to_html, to_pdf
from consent.resources import package_data, templates
from consent.review import assess
from tests.bench.timing import seconds
from tests.chromium import PROGRAM, started
from tests.drops.slow_engine import Inputs, own_minutes, shared_minutes, slow_plan, so_many_fit
from tests.property.random_orders import Ordered, formulary, random_order

ORDERS, SEED = 300, 2027
NOW = dt.datetime(2027, 1, 1, tzinfo=dt.UTC)


def orders() -> list[tuple[Ordered, Inputs]]:
    """Random orders that fit their hours, with what the slow engine reads."""
    found = []
    for seed in range(SEED, SEED + ORDERS):
        ordered = random_order(Random(seed))
        with suppress(DropsError):
            ordered.plan()
            clinic = ordered.clinic
            found.append(
                (ordered, Inputs(ordered.order, clinic.drops, clinic.day_marks, ordered.regimens, formulary()))
            )
    return found


def rules_of(plan: DropPlan) -> list[tuple[dt.datetime, dt.date]]:
    """First moment and last date of every run of days on which a drop stands at one minute."""
    by_minute: dict[tuple[int, int], list[int]] = {}
    for day in plan.sessions:
        for sitting in day.sessions:
            for number, offset in sitting.drops:
                minute = 60 * sitting.at.hour + sitting.at.minute + offset
                by_minute.setdefault((number, minute), []).append(day.number)
    found = []
    for (_, minute), days in by_minute.items():
        for first, last in runs(days):
            start = dt.datetime.combine(plan.surgery + dt.timedelta(days=first), dt.time(*divmod(minute, 60)))
            found.append((start, plan.surgery + dt.timedelta(days=last)))
    return found


def runs(days: list[int]) -> Iterator[tuple[int, int]]:
    """First and last of days in a row."""
    first = before = days[0]
    for day in days[1:]:
        if day > before + 1:
            yield first, before
            first = day
        before = day
    yield first, before


def expand(rules: list[tuple[dt.datetime, dt.date]]) -> list[dt.datetime]:
    """Every moment of the rules, by dateutil."""
    return [
        moment
        for first, last in rules
        for moment in rrule(DAILY, dtstart=first, until=dt.datetime.combine(last, first.time()))
    ]


def slowly(inputs: Inputs) -> None:
    """The slow plan, nothing remembered from the one before."""
    for remembered in (own_minutes, shared_minutes, so_many_fit):
        remembered.cache_clear()
    slow_plan(inputs)


def from_read_regimens(ordered: Ordered) -> None:
    """The engine's plan from regimens that are already read."""
    with patch.object(plan_module, "read_regimens", lambda *_: ordered.regimens):
        ordered.plan()


def schedules() -> None:
    """Plans a second, and against the slow engine and the two libraries."""
    chosen = orders()
    whole = seconds(lambda: [ordered.plan() for ordered, _ in chosen]) / len(chosen)
    alone = seconds(lambda: [from_read_regimens(ordered) for ordered, _ in chosen]) / len(chosen)
    slow = seconds(lambda: [slowly(inputs) for _, inputs in chosen], 3) / len(chosen)
    print(f"{1 / whole:6.0f} plans a second, {1000 * whole:.2f} ms a plan ({len(chosen)} random orders)")
    print(f"{1 / alone:6.0f} plans a second from regimens already read, {1000 * alone:.2f} ms a plan")
    print(f"       slow engine, the same: {1000 * slow:.2f} ms a plan; ratio {alone / slow:.2f}")
    case, clinic = read_case(package_data("case", "examples", "hard.toml")), read_clinic()
    hard = seconds(lambda: plan_drops(case, clinic))
    plan = plan_drops(case, clinic)
    rules = rules_of(plan)
    theirs = seconds(lambda: expand(rules))
    print(f"the hard case, {plan.total} drops: {1000 * hard:.2f} ms")
    told = f"{len(rules)} daily rules, {len(expand(rules))} moments"
    print(f"       dateutil.rrule, {told}: {1000 * theirs:.2f} ms; ratio {hard / theirs:.2f}")
    file = calendar_file(compose_pack(case, clinic, ("en",)), NOW) or b""
    first, last = plan.days[0].date, plan.days[-1].date + dt.timedelta(days=1)

    def events() -> int:
        return len(recurring_ical_events.of(icalendar.Calendar.from_ical(file)).between(first, last))

    theirs = seconds(events, 3)
    print(f"       recurring_ical_events, {events()} events: {1000 * theirs:.0f} ms; ratio {hard / theirs:.3f}")


def sheets() -> None:
    """The calendar of the hard case, printed again and again by us and by one Chromium kept open."""
    assessment = assess(read_case(package_data("case", "examples", "hard.toml")), read_clinic())
    style = (templates() / "styles" / "sheet.css").read_text(encoding="utf-8")
    for tag in ("en", "bn"):
        document = drop_calendar(assessment, Voice((tag,), "locale"))
        html = to_html(document).replace("</head>", f"<style>{style}</style></head>")
        compose = seconds(lambda tag=tag: to_html(drop_calendar(assessment, Voice((tag,), "locale"))))
        ours = seconds(lambda document=document: to_pdf(document))
        print(f"calendar in {tag}: composed as HTML in {1000 * compose:.0f} ms, printed in {1000 * ours:.0f} ms")
        if (theirs := chromium(html)) is not None:
            print(f"       Chromium, kept open: {1000 * theirs:.0f} ms; ratio {ours / theirs:.2f}")


def chromium(html: str) -> float | None:
    """Median seconds of a Chromium kept open to load and print ``html``; ``None`` where it cannot be driven."""
    try:
        import playwright.sync_api  # noqa: F401
    except ImportError:
        print("       Chromium is left out: playwright is not installed (pip install playwright)")
        return None
    if PROGRAM is None:
        print("       Chromium is left out: it is not installed (apt-get install chromium)")
        return None
    with tempfile.TemporaryDirectory() as name, started() as browser:
        path = Path(name) / "calendar.html"
        path.write_text(html, encoding="utf-8")
        page = browser.new_page()

        def work() -> None:
            page.goto(path.as_uri())
            page.pdf(prefer_css_page_size=True, print_background=True, tagged=True)

        taken = seconds(work)
    return taken


if __name__ == "__main__":
    schedules()
    sheets()
