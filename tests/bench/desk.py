"""Prints how long a counsellor waits for a change to be kept: alone, and in a full clinic whose printer is at work.

Alone: one counsellor types a change a second. Full: thirty do, each at a question of their own in ten cases, while
three packs are printed at once, two as drafts and one signed, again and again until the typing ends. The server is
what ``consent serve`` starts, over SQLite on this disk; the browsers are threads of another process on the same
machine, which take their part of it. What counts is the ratio in one run. Not a test: nothing is asserted but that
nobody was refused and that all that was acknowledged is in the ledger. ``python -m tests.bench.desk 10`` types for ten
seconds.
"""

from __future__ import annotations

import datetime as dt
import re
import statistics
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path
from threading import Event, Thread

import httpx

from consent.clinic import read_clinic
from consent.pack import SHEETS
from consent.record.keeping_certificate import keep_local_certificate
from consent.record.place import Place, Record, make_record
from tests.desk.crowd import Counsellor, Desk, browser, counsellors, hidden, not_kept, served, type_at_once
from tests.record.story import IST, PASSWORDS, Staff, Story, make_staff

PEOPLE, CASES, PRINTERS = 30, 10, 3


def percentiles(people: list[Counsellor]) -> tuple[float, float, int]:
    """Median and 95th percentile in milliseconds, and of how many changes."""
    taken = sorted(1000 * one for person in people for one in person.seconds)
    return statistics.median(taken), statistics.quantiles(taken, n=20)[-1], len(taken)


def ready_case(record: Record, staff: Staff) -> str:
    """A case that only waits for the surgeon's name."""
    story = Story(record, staff)
    story.open()
    story.explain(record.clock().astimezone(IST) - dt.timedelta(days=1))
    story.accept_figures()
    story.answer_all()
    return story.subject


def posted(client: httpx.Client, page: str, action: str, fields: dict[str, object]) -> httpx.Response:
    """The form at ``action`` sent from the page ``page``, followed to where it leads."""
    shown = client.get(page).text
    token, seen = hidden(shown, "_csrf_token"), re.search(r'name="seen" value="(\d+)"', shown)
    sent = {"_csrf_token": token, "seen": seen[1] if seen else "0", **fields}
    return client.post(action, data=sent, follow_redirects=True)


def printing(desk: Desk, subject: str, over: Event, done: list[float]) -> None:
    """Drafts of ``subject`` are printed until it is ``over``."""
    client = browser(desk, "meera", PASSWORDS["meera"])
    while not over.is_set():
        start = time.monotonic()
        waiting = posted(client, f"/case/{subject}/papers", f"/case/{subject}/drafts", {"sheet": list(SHEETS)})
        finished(client, str(waiting.url))
        done.append(time.monotonic() - start)


def signing(desk: Desk, subjects: list[str], over: Event, done: list[float]) -> None:
    """The surgeon signs one case after the other until it is ``over``."""
    client = browser(desk, "asha", PASSWORDS["asha"])
    for subject in subjects:
        if over.is_set():
            return
        start = time.monotonic()
        fields = {"password": PASSWORDS["asha"]}
        waiting = posted(client, f"/case/{subject}/review", f"/case/{subject}/sign-off", fields)
        finished(client, str(waiting.url))
        done.append(time.monotonic() - start)


def finished(client: httpx.Client, waiting: str) -> None:
    """Ask as the waiting page does, until the work is done; then look at what came of it."""
    assert "/making/" in waiting, waiting
    while not client.get(waiting, headers={"x-asked-by": "script"}).json()["done"]:
        time.sleep(0.5)
    answer = client.get(waiting, follow_redirects=True)
    assert answer.status_code == 200, answer.text


def report(name: str, people: list[Counsellor]) -> tuple[float, float]:
    """One line; the two times."""
    middle, late, count = percentiles(people)
    print(f"{name:22}: {count:5} changes, median {middle:6.1f} ms, 95th percentile {late:6.1f} ms")
    return middle, late


def measure(record: Record, seconds: int) -> None:
    """Alone, then full; what was acknowledged is looked for."""
    staff = make_staff(record)
    keep_local_certificate(record)
    subjects = []
    for _ in range(CASES + 2):
        story = Story(record, staff)
        story.open()
        subjects.append(story.subject)
    to_sign = [ready_case(record, staff) for _ in range(1 + seconds // 5)]
    with served(record, PRINTERS) as desk:
        everybody = counsellors(desk, subjects[:CASES], PEOPLE + 1, staff.lead)
        alone, full = everybody[:1], everybody[1:]
        type_at_once(alone, changes=seconds, pause=1.0)
        quiet = report("one counsellor alone", alone)
        over, printed, signed = Event(), [], []
        work = [
            *(Thread(target=printing, args=(desk, subject, over, printed)) for subject in subjects[CASES:]),
            Thread(target=signing, args=(desk, to_sign, over, signed)),
        ]
        for thread in work:
            thread.start()
        type_at_once(full, changes=seconds, pause=1.0)
        over.set()
        loaded = report(f"{PEOPLE} and three packs", full)
        for thread in work:
            thread.join()
    print(f"{'ratio':22}: median {loaded[0] / quiet[0]:.1f}, 95th percentile {loaded[1] / quiet[1]:.1f}")
    print(f"{'meanwhile':22}: {len(printed)} packs as drafts, {len(signed)} signed")
    errors = [error for person in everybody for error in person.errors]
    lost = not_kept(record, everybody)
    told = sum(len(person.told) for person in everybody)
    print(f"{'refused or in error':22}: {len(errors)}; acknowledged {told}, of which lost {len(lost)}")
    assert not errors and not lost, (errors[:3], lost[:3])


def main(seconds: int = 25) -> None:
    """Measure and print."""
    with (
        tempfile.TemporaryDirectory() as name,
        closing(make_record(Place(Path(name) / "record"), read_clinic())) as record,
    ):
        measure(record, seconds)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
