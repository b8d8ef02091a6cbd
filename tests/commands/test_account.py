"""Accounts from the command line: who may make them, how passwords are given, what is printed of them."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from unittest.mock import patch

import pytest

from consent.clinic import read_clinic
from consent.commands.main import main
from consent.commands.passwords import ask
from consent.commands.settings import RECORD_VARIABLE, find_record
from consent.errors import RecordError, UsageError
from consent.record.login import identify
from consent.record.place import Place, make_record
from consent.record.schema import LEDGER
from tests.record.acts import cheap_hasher
from tests.record.story import PASSWORDS

Run = Callable[..., tuple[int, str, str]]
FIRST = "words the lead has chosen"
USAGE, ACCESS = 2, 13
"""Exit codes that consent --help lists."""


class Terminal(io.StringIO):
    """Where somebody sits and types."""

    def isatty(self) -> bool:
        return True


@pytest.fixture(autouse=True)
def _cheap() -> Iterator[None]:
    """What argon2 costs is tested where its parameters are; here it is as cheap as it can be."""
    with patch("consent.record.accounts.hasher", cheap_hasher):
        yield


@pytest.fixture
def where(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "record"
    monkeypatch.setenv(RECORD_VARIABLE, str(folder))
    make_record(Place(folder), read_clinic()).close()
    return folder


@pytest.fixture
def run(where: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """``consent account`` with lines for the passwords it asks for."""

    def told(
        *arguments: str, lines: tuple[str, ...] = (), stdin: type[io.StringIO] = io.StringIO
    ) -> tuple[int, str, str]:
        monkeypatch.setattr("sys.stdin", stdin("".join(f"{line}\n" for line in lines)))
        code = main(("account", *arguments))
        out, err = capsys.readouterr()
        return code, out, err

    return told


@pytest.fixture
def lead(run: Run) -> Run:
    """A record with its first account."""
    made = run("add", "lila", "--name", "Lila Invented", "--role", "lead", lines=(PASSWORDS["lila"],))
    assert made == (0, "lila: Lila Invented (lead)\n", "")
    return run


def _add_surgeon(run: Run, *more: str, lines: tuple[str, ...] = (PASSWORDS["lila"], FIRST)) -> tuple[int, str, str]:
    given = ("--name", "Dr Asha Invented", "--role", "surgeon", "--registration", "INVENTED-0002", *more)
    return run("add", "asha", *given, lines=lines)


def test_the_first_is_a_lead_s(run: Run) -> None:
    code, out, err = _add_surgeon(run, lines=(FIRST,))
    assert (code, out) == (USAGE, "")
    assert "first account must be able to make the others" in err


def test_a_lead_makes_the_others(lead: Run) -> None:
    code, out, err = _add_surgeon(lead, "--as", "lila")
    assert (code, out) == (0, "asha: Dr Asha Invented (surgeon), registration INVENTED-0002\n")
    assert "Nobody can sign with a password somebody else chose" in err


def test_nobody_else_makes_any(lead: Run) -> None:
    code, _, err = _add_surgeon(lead, lines=(FIRST,))
    assert code == ACCESS and "there are accounts already" in err
    code, _, err = _add_surgeon(lead, "--as", "lila", lines=("not her words at all", FIRST))
    assert code == ACCESS and "do not belong together" in err
    assert _add_surgeon(lead, "--as", "lila")[0] == 0
    code, _, err = lead("close", "lila", "--as", "asha", lines=(FIRST,))
    assert code == ACCESS and "not clinic lead" in err


def test_the_list_names_everybody_and_no_secret(lead: Run, where: Path) -> None:
    _add_surgeon(lead, "--as", "lila")
    assert lead("list")[1].splitlines() == [
        "asha: Dr Asha Invented (surgeon), registration INVENTED-0002",
        "lila: Lila Invented (lead)",
    ]
    asha, lila = json.loads(lead("list", "--json")[1])
    assert asha == {
        "login": "asha",
        "name": "Dr Asha Invented",
        "roles": ["surgeon"],
        "registration": "INVENTED-0002",
        "own_password": False,
        "closed": False,
    }
    assert (lila["own_password"], lila["registration"]) == (True, None)


def test_a_password_is_changed_by_its_owner(lead: Run, where: Path) -> None:
    _add_surgeon(lead, "--as", "lila")
    code, out, _ = lead("password", "asha", lines=(FIRST, PASSWORDS["asha"]))
    assert (code, out.startswith("asha: the password was changed")) == (0, True)
    record = find_record(str(where), None)
    assert identify(record, "asha", PASSWORDS["asha"]).own
    record.close()
    code, _, err = lead("password", "asha", lines=(PASSWORDS["asha"], "password1234"))
    assert code == USAGE and "everybody takes" in err
    code, _, err = lead("password", "asha", lines=(FIRST, PASSWORDS["noor"]))
    assert code == ACCESS


def test_a_lead_gives_a_first_password(lead: Run) -> None:
    _add_surgeon(lead, "--as", "lila")
    assert lead("password", "asha", "--as", "lila", lines=(PASSWORDS["lila"], "another first word of it"))[0] == 0
    assert not json.loads(lead("list", "--json")[1])[0]["own_password"]


def test_an_account_is_changed_and_what_is_not_named_stays(lead: Run) -> None:
    _add_surgeon(lead, "--as", "lila")
    code, out, _ = lead(
        "change", "asha", "--role", "surgeon", "--role", "lead", "--as", "lila", lines=(PASSWORDS["lila"],)
    )
    assert (code, out) == (0, "asha: Dr Asha Invented (surgeon, lead), registration INVENTED-0002\n")
    code, out, _ = lead("change", "asha", "--name", "Dr Asha Renamed", "--as", "lila", lines=(PASSWORDS["lila"],))
    assert (code, out) == (0, "asha: Dr Asha Renamed (surgeon, lead), registration INVENTED-0002\n")


def test_an_account_is_closed_but_not_the_last(lead: Run) -> None:
    _add_surgeon(lead, "--as", "lila")
    for last, said in (("asha", "last account of a surgeon"), ("lila", "last clinic lead")):
        code, _, err = lead("close", last, "--as", "lila", lines=(PASSWORDS["lila"],))
        assert code == ACCESS and said in err
    lead("add", "tara", "--name", "T. Example", "--role", "theatre", "--as", "lila", lines=(PASSWORDS["lila"], FIRST))
    code, out, _ = lead("close", "tara", "--as", "lila", lines=(PASSWORDS["lila"],))
    assert (code, out) == (0, "tara: T. Example (theatre, closed)\n")
    code, _, err = lead("close", "tara", "--as", "lila", lines=(PASSWORDS["lila"],))
    assert code == USAGE and "no open account of this name" in err and "asha, lila" in err


def test_a_role_nobody_has_is_named_with_those_there_are(lead: Run) -> None:
    code, _, err = lead(
        "add", "new", "--name", "N. Example", "--role", "boss", "--as", "lila", lines=(PASSWORDS["lila"],)
    )
    assert code == USAGE and 'there is no role "boss"' in err and "counsellor, surgeon" in err


def test_a_password_is_never_an_argument(lead: Run, capsys: pytest.CaptureFixture[str]) -> None:
    """OWASP ASVS 4.0, 8.3.1: what stands on a command line is read by everybody on the machine."""
    for verb in ("add", "change", "close", "password"):
        with pytest.raises(SystemExit):
            lead(verb, "--help")
        assert "--password" not in capsys.readouterr().out


def test_input_that_has_ended_is_said(lead: Run) -> None:
    code, _, err = lead("password", "lila", lines=(PASSWORDS["lila"],))
    assert code == USAGE and "the input has ended" in err


def test_at_a_terminal_it_is_typed_twice_unseen(lead: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    typed = iter([PASSWORDS["lila"], "three plain new words", "three plain new wrods"])
    monkeypatch.setattr("consent.commands.passwords.getpass", lambda prompt: next(typed))
    code, _, err = lead("password", "lila", stdin=Terminal)
    assert code == USAGE and "not alike" in err


def test_a_terminal_that_is_left_is_no_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    def left(_: str) -> str:
        raise EOFError

    monkeypatch.setattr("consent.commands.passwords.getpass", left)
    monkeypatch.setattr("sys.stdin", Terminal())
    with pytest.raises(UsageError, match="input has ended"):
        ask("password")


def test_lines_that_are_no_text_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(b"\xff\xfe words\n"), encoding="utf-8"))
    with pytest.raises(UsageError, match="not text"):
        ask("password")


def test_where_the_record_is(where: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Option before variable before the data folder."""
    other = tmp_path / "other"
    make_record(Place(other), read_clinic()).close()
    for option, found in ((None, where), (str(other), other)):
        record = find_record(option, None)
        assert record.place.folder == found
        record.close()
    monkeypatch.delenv(RECORD_VARIABLE)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    with pytest.raises(RecordError, match="no record here"):
        find_record(None, None)
    make_record(Place(tmp_path / "data" / "consent" / "record"), read_clinic()).close()
    record = find_record(None, None)
    assert record.place.folder == tmp_path / "data" / "consent" / "record"
    record.close()


def test_every_act_is_an_entry(lead: Run, where: Path) -> None:
    _add_surgeon(lead, "--as", "lila")
    lead("password", "asha", lines=(FIRST, PASSWORDS["asha"]))
    record = find_record(str(where), None)
    with record.store.reading() as connection:
        kinds = [row.kind for row in connection.execute(LEDGER.select().order_by(LEDGER.c.sequence))]
    record.close()
    assert kinds == ["account-made", "password-set", "login", "account-made", "password-set", "login", "password-set"]
