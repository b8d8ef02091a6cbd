"""After entries made with a wrong clock: a clinic lead says that it was put right, and nobody else can."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest

from consent.clinic import read_clinic
from consent.commands.main import main
from consent.record.checking import check_record
from consent.record.ledger import Entry, append, entries
from consent.record.place import Place, make_record, open_record
from tests.record.acts import without_printing
from tests.record.clock import TestClock
from tests.record.story import PASSWORDS, make_staff

WRONG = "not the words of anybody"
ACCESS, RECORD = 13, 11
"""Exit codes that consent --help lists."""
AHEAD = dt.datetime(2150, 1, 1, tzinfo=dt.UTC)
"""What the clock said while it was wrong: after any day on which these tests run."""
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    """A record with staff, whose last entry was made by a clock that was ahead."""
    place = Place(tmp_path / "record")
    with without_printing():
        with closing(make_record(place, read_clinic(), TestClock(dt.datetime(2026, 1, 1, tzinfo=dt.UTC)))) as made:
            person = make_staff(made).counsellor.person
        with closing(open_record(place, read_clinic(), TestClock(AHEAD))) as ahead, ahead.store.writing() as connection:
            append(connection, ahead.key, person, "counsellor", "login", "login-x", {}, ahead.clock())
        yield place.folder


@pytest.fixture
def run(folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    def told(*arguments: str, typed: str) -> tuple[int, str, str]:
        monkeypatch.setattr("sys.stdin", io.StringIO(f"{typed}\n"))
        code = main((*arguments, "--record", str(folder)))
        return (code, *capsys.readouterr())

    return told


def _clock(run: Run, login: str, typed: str) -> tuple[int, str, str]:
    return run("record", "clock", "--as", login, "--reason", "it said 2150", typed=typed)


def _papers(run: Run) -> tuple[int, str, str]:
    """Something that everybody may try and that begins with a login: there is no such case."""
    words = ("--to", "nowhere", "--reason", "asked for")
    return run("record", "papers", "case-0123456789abcdef", *words, "--as", "meera", typed=PASSWORDS["meera"])


def _all(folder: Path) -> list[Entry]:
    with closing(open_record(Place(folder), read_clinic())) as record:
        assert check_record(record).problems == ()
        with record.store.reading() as connection:
            return list(entries(connection))


def test_the_lead_says_that_the_clock_was_put_right(run: Run, folder: Path) -> None:
    before = dt.datetime.now(dt.UTC)
    code, _, err = _papers(run)
    assert code == RECORD and "consent record clock" in err
    code, out, err = _clock(run, "lila", PASSWORDS["lila"])
    assert (code, out.startswith("entry ")) == (0, True), err
    login, put_right = _all(folder)[-2:]
    assert (login.kind, login.at) == ("login", AHEAD), "dated as the last entry: nothing is before it"
    assert (put_right.kind, put_right.body["reason"]) == ("clock-put-right", "it said 2150")
    assert before <= dt.datetime.fromisoformat(login.body["clock"]) <= put_right.at
    code, _, err = _papers(run)
    assert "no such case" in err, "and everybody goes on"


@pytest.mark.parametrize(("login", "typed"), [("meera", PASSWORDS["meera"]), ("lila", WRONG), ("nobody", WRONG)])
def test_who_is_not_the_lead_does_not_put_it_back(run: Run, folder: Path, login: str, typed: str) -> None:
    """The try is kept, but no entry of it is earlier than the one before, so that others are still refused."""
    count = len(_all(folder))
    assert _clock(run, login, typed)[0] == ACCESS
    found = _all(folder)
    assert (len(found), found[-1].at) == (count + 1, AHEAD)
    code, _, err = _papers(run)
    assert code == RECORD and "consent record clock" in err


def test_guessing_with_the_wrong_clock_waits_too_and_no_longer_than_by_the_right_one(run: Run, folder: Path) -> None:
    """OWASP ASVS 4.0, 2.2.1. The entries are of 2150; the wait is a minute from when the tries were made."""
    for _ in range(5):
        assert "do not belong together" in _clock(run, "lila", WRONG)[2]
    code, _, err = _clock(run, "lila", PASSWORDS["lila"])
    assert code == ACCESS and "wait 1 minute," in err
    late = TestClock(dt.datetime.now(dt.UTC) + dt.timedelta(minutes=2))
    with pytest.MonkeyPatch.context() as later:
        later.setattr("consent.record.place.open_record.__defaults__", (late,))
        assert _clock(run, "lila", PASSWORDS["lila"])[0] == 0
