"""Backup, restore, export and erasing as whoever keeps the record meets them on the command line."""

from __future__ import annotations

import datetime as dt
import io
import shutil
import sqlite3
from contextlib import closing, redirect_stdout
from functools import cache
from hashlib import sha256
from pathlib import Path
from tarfile import open as open_tar

import pytest
from argon2 import PasswordHasher

from consent.clinic import Clinic
from consent.commands import passwords
from consent.commands.main import main, parser
from consent.record import accounts
from consent.record.accounts import set_password
from consent.record.act import Act
from consent.record.cases import act_on
from consent.record.keeping_certificate import keep_local_certificate
from consent.record.place import Place, make_record
from tests.editing import edited
from tests.record.clock import TestClock
from tests.record.filled import COUNSELLOR, PASSWORDS, SURGEON, open_one, people, signed_case
from tests.record.kept import PASSPHRASE, rows_of, scrypt_once

OWN = "monsoon roof blue tile"
CLOSED, SIGNED = 0, 1
"""The cases of the record, in the order in which they were opened."""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory, clinic: Clinic) -> Path:
    """The folder of a record with two cases, one of them closed, and a certificate; and beside it a backup and what was
    printed when it was made. The commands go by the clock of this machine, so the record is of yesterday."""
    folder = tmp_path_factory.mktemp("keeping")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(accounts, "hasher", cache(lambda: PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)))
        yesterday = dt.datetime.now(dt.UTC) - dt.timedelta(days=1)
        record = make_record(Place(folder / "record"), clinic, TestClock(yesterday))
        keep_local_certificate(record)
        lead, _ = people(record)
        set_password(record, lead.person, "lead", OWN)
        seen = open_one(record)
        data = edited(dict(seen.case.data), {"talk": {"outcome": "refuses"}})
        declined = act_on(record, COUNSELLOR, seen.case.subject, Act("declined", seen.case.sequence, data))
        act_on(record, SURGEON, seen.case.subject, Act("closed", declined.case.sequence))
        signed_case(record, "hard")
        record.close()
    (folder / "passphrase").write_text(f"{PASSPHRASE}\n")
    with (folder / "said").open("w") as said, redirect_stdout(said):
        assert main(["backup", *_where(folder), "--to", str(folder / "backup"), *_phrase(folder)]) == 0
    return folder


def _where(folder: Path) -> tuple[str, str]:
    return "--record", str(folder / "record")


def _phrase(folder: Path) -> tuple[str, str]:
    return "--passphrase-file", str(folder / "passphrase")


@pytest.fixture
def kept(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of all of it, to be worked on."""
    monkeypatch.delenv("CONSENT_CLINIC", raising=False)
    monkeypatch.delenv("CONSENT_RECORD", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    scrypt_once(monkeypatch)
    shutil.copytree(made, tmp_path / "kept")
    return tmp_path / "kept"


def say(monkeypatch: pytest.MonkeyPatch, *lines: str) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))


def cases(folder: Path) -> list[str]:
    return [row[1] for row in rows_of(Place(folder / "record"))["ledger"] if row[2] == "opened"]


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def test_a_backup_is_two_files_of_the_age_format_for_its_owner(kept: Path) -> None:
    assert (kept / "backup").stat().st_mode & 0o777 == 0o600
    with open_tar(kept / "backup") as archive:
        for name in archive.getnames():
            file = archive.extractfile(name)
            # age-encryption.org/v1, "Format": the first line of every header names the version.
            assert file is not None and file.readline() == b"age-encryption.org/v1\n"
        assert len(archive.getnames()) == 2


def test_a_backup_says_which_entry_is_its_last(kept: Path) -> None:
    content = rows_of(Place(kept / "record"))["ledger"][-1][3]
    last = sha256(content.encode()).hexdigest()  # FIPS 180-4
    assert last in (kept / "said").read_text()


def test_a_backup_is_never_written_over_another_file(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = (kept / "backup").read_bytes()
    assert main(["backup", *_where(kept), "--to", str(kept / "backup"), *_phrase(kept)]) == 11
    assert (kept / "backup").read_bytes() == before


def test_a_passphrase_is_no_option() -> None:
    for given in ("--passphrase", "--password"):
        with pytest.raises(SystemExit) as refused:
            parser().parse_args(["restore", "FILE", given, "three words long"])
        assert refused.value.code == 2


@pytest.mark.parametrize(
    ("typed", "said"), [((PASSPHRASE, "bricks drying by the kanal"), "not alike"), (("short", "short"), "12 or more")]
)
def test_a_new_passphrase_is_typed_twice_unseen_and_is_long(
    kept: Path,
    typed: tuple[str, ...],
    said: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    prompts: list[str] = []
    answers = iter(typed)

    def getpass(prompt: str) -> str:
        prompts.append(prompt)
        return next(answers)

    monkeypatch.setattr("sys.stdin", Terminal())
    monkeypatch.setattr(passwords, "getpass", getpass)
    assert main(["backup", *_where(kept), "--to", str(kept / "second")]) == 2
    assert said in capsys.readouterr().err
    assert len(prompts) == 2
    assert not (kept / "second").exists()


@pytest.mark.parametrize("content", [None, b"", b"\n", b"\xff\xfe\n"])
def test_a_file_without_a_passphrase_is_told(
    kept: Path, content: bytes | None, capsys: pytest.CaptureFixture[str]
) -> None:
    path = kept / "empty"
    if content is not None:
        path.write_bytes(content)
    assert main(["backup", *_where(kept), "--to", str(kept / "second"), "--passphrase-file", str(path)]) == 2
    assert str(path) in capsys.readouterr().err
    assert not (kept / "second").exists()


def test_a_broken_record_is_backed_up_and_said_to_be_broken(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with closing(sqlite3.connect(kept / "record" / "record.sqlite3")) as raw:
        raw.execute("DROP TRIGGER ledger_no_update")
        raw.execute("UPDATE ledger SET content = replace(content, 'Imaginary', 'Imaginery') WHERE sequence = 3")
        raw.commit()
    assert main(["backup", *_where(kept), "--to", str(kept / "second"), *_phrase(kept)]) == 11
    said = capsys.readouterr().err
    assert "DOES NOT HOLD TOGETHER" in said
    assert "entry 3" in said
    assert (kept / "second").is_file()


def test_a_restored_record_is_the_same_row_by_row_and_is_proved_to_be(
    kept: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = rows_of(Place(kept / "record"))
    target = kept / "again"
    assert main(["restore", str(kept / "backup"), "--record", str(target), *_phrase(kept)]) == 0
    said = capsys.readouterr()
    assert f"ledger: {len(before['ledger'])} rows" in said.err
    assert rows_of(Place(target)) == before
    for name in ("record.key", "certificate.p12"):
        assert (target / name).read_bytes() == (kept / "record" / name).read_bytes()
        assert (target / name).stat().st_mode & 0o777 == 0o600
    assert main(["record", "check", "--record", str(target)]) == 0


def test_a_wrong_passphrase_leaves_nothing(
    kept: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    say(monkeypatch, "bricks drying by the river")
    assert main(["restore", str(kept / "backup"), "--record", str(kept / "again")]) == 11
    assert "passphrase" in capsys.readouterr().err
    assert not (kept / "again").exists()


def test_a_record_is_never_restored_over(kept: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = {path.name: path.read_bytes() for path in (kept / "record").iterdir()}
    assert main(["restore", str(kept / "backup"), *_where(kept), *_phrase(kept)]) == 11
    assert "never written over" in capsys.readouterr().err
    assert {path.name: path.read_bytes() for path in (kept / "record").iterdir()} == before


def test_who_was_erased_after_the_backup_stays_erased(
    kept: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    subject = cases(kept)[CLOSED]
    early = ("--before-retention", "--reason", "An order of the data protection board, 1 March 2027.")
    say(monkeypatch, OWN)
    assert main(["record", "erase", subject, *_where(kept), "--as", "lead", *early]) == 0
    assert "destroyed identity" in capsys.readouterr().out
    assert main(["record", "check", *_where(kept)]) == 0
    listed = kept / "record" / "erased.txt"
    assert listed.read_text().startswith(f"{subject} ")
    target = kept / "again"
    restored = ("--record", str(target), *_phrase(kept), "--erased", str(listed))
    assert main(["restore", str(kept / "backup"), *restored]) == 0
    assert f"{subject}: erased again" in capsys.readouterr().err
    assert main(["record", "list", "--record", str(target)]) == 0
    assert f"{subject}  closed" in (said := capsys.readouterr().out)
    assert "identity erased" in said
    assert "Shanti" not in said
    assert (subject, "identity") not in [row[:2] for row in rows_of(Place(target))["keys"]]
    assert main(["record", "check", "--record", str(target)]) == 0


@pytest.mark.parametrize(
    ("password", "reason", "options", "code", "said"),
    [
        (OWN, "The time is over.", (), 14, "is to be kept until"),
        (OWN, "Shanti asked for it.", ("--before-retention",), 14, "names the patient"),
        ("some other four words", "An order of a court.", ("--before-retention",), 13, "do not belong together"),
    ],
)
def test_nothing_is_erased_too_early_by_name_or_by_somebody_else(
    kept: Path,
    password: str,
    reason: str,
    options: tuple[str, ...],
    code: int,
    said: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    keys = rows_of(Place(kept / "record"))["keys"]
    say(monkeypatch, password)
    erase = ["record", "erase", cases(kept)[CLOSED], *_where(kept), "--as", "lead", "--reason", reason, *options]
    assert main(erase) == code
    assert said in capsys.readouterr().err
    assert rows_of(Place(kept / "record"))["keys"] == keys
    assert "erased.txt" not in names(kept / "record")


def test_an_entry_of_the_kind_erased_without_erasing_is_refused(
    kept: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    say(monkeypatch, OWN)
    subject = cases(kept)[CLOSED]
    assert main(["record", "enter", subject, "erased", *_where(kept), "--as", "lead", "--reason", "Because."]) == 14
    assert "consent record erase" in capsys.readouterr().err
    assert main(["record", "check", *_where(kept)]) == 0


def test_what_is_handed_out_is_listed_and_is_there(
    kept: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    say(monkeypatch, OWN)
    folder = kept / "copy"
    asked = ("--as", "lead", "--reason", "He asked for a copy.", "--to", str(folder))
    assert main(["export", cases(kept)[SIGNED], *_where(kept), *asked]) == 0
    said = capsys.readouterr()
    listed = {Path(line) for line in said.out.splitlines()}
    assert listed == {path for path in folder.rglob("*") if path.is_file()}
    assert {"index.html", "record.json"} <= names(folder)
    assert str(folder / "index.html") in said.err


@pytest.mark.parametrize(
    ("login", "password", "code"), [("surgeon", PASSWORDS["surgeon"], 13), ("lead", "not the words of the lead", 13)]
)
def test_nobody_but_a_lead_hands_anything_out(
    kept: Path, login: str, password: str, code: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    say(monkeypatch, password)
    asked = ("--as", login, "--reason", "He asked for a copy.", "--to", str(kept / "copy"))
    assert main(["export", cases(kept)[SIGNED], *_where(kept), *asked]) == code
    assert not (kept / "copy").exists()
