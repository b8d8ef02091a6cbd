"""``consent record certificate``: what a clinic lead does when it ends, is lost, or the clinic has one of its own."""

from __future__ import annotations

import datetime as dt
import io
import json
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from consent.clinic import Clinic
from consent.commands import certificate
from consent.commands.main import main
from consent.record.accounts import THIS_MACHINE, make_account
from consent.record.certificate import make_certificate, open_certificate, read_certificates
from consent.record.checking import check_record
from consent.record.inspection import inspect
from consent.record.keeping_certificate import keep_local_certificate, known_certificates, read_own_certificate
from consent.record.ledger import entries
from consent.record.moves import Role
from consent.record.place import Place, Record, make_record, open_record
from tests.record.clock import START, TestClock
from tests.record.sealing import AT, NAME, REASON, make_sealed, sign
from tests.record.story import PASSWORDS


@pytest.fixture(scope="module")
def staffed(tmp_path_factory: pytest.TempPathFactory, clinic: Clinic) -> Path:
    """Folder of a record with a lead and a surgeon."""
    folder = tmp_path_factory.mktemp("staffed") / "record"
    made = make_record(Place(folder), clinic, TestClock())
    keep_local_certificate(made)
    lead = make_account(made, THIS_MACHINE, "lila", "Lila Invented", (Role.LEAD,), PASSWORDS["lila"])
    make_account(made, lead.person, "asha", "Dr Asha Invented", (Role.SURGEON,), PASSWORDS["asha"], "INVENTED-0002")
    made.close()
    return folder


@pytest.fixture
def record(staffed: Path, tmp_path: Path, clinic: Clinic, monkeypatch: pytest.MonkeyPatch) -> Iterator[Record]:
    """A copy of it, which the command opens too, with a clock of the tests."""
    shutil.copytree(staffed, tmp_path / "record")
    place, clock = Place(tmp_path / "record"), TestClock(START + dt.timedelta(hours=1))
    monkeypatch.setattr(certificate, "find_record", lambda where, settings: open_record(place, clinic, clock))
    made = open_record(place, clinic, clock)
    yield made
    made.close()


@dataclass
class Said:
    code: int
    out: str
    err: str


@pytest.fixture
def ask(record: Record, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Any:
    def asked(*arguments: str, typed: tuple[str, ...] = ()) -> Said:
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in typed)))
        code = main(["record", "certificate", *arguments])
        return Said(code, *capsys.readouterr())

    return asked


def _changes(record: Record) -> list[tuple[str, str]]:
    with record.store.reading() as connection:
        return [(one.person, one.body["fingerprint"]) for one in entries(connection, "certificate")]


def test_it_is_shown_and_handed_out_without_its_key(record: Record, ask: Any, tmp_path: Path) -> None:
    """OpenSSL reads the file; RFC 7468 names what may stand in it."""
    path = tmp_path / "clinic.pem"
    own = read_own_certificate(record).certificate
    said = ask("--to", str(path))
    assert said.code == 0
    assert own.fingerprint in said.out
    assert read_certificates(path.read_bytes(), "clinic.pem") == (own,)
    assert path.read_text().count("-----BEGIN ") == 1
    done = subprocess.run(
        ["openssl", "x509", "-in", str(path), "-noout", "-fingerprint", "-sha256"],
        capture_output=True,
        text=True,
        check=True,
    )
    printed = done.stdout.strip().partition("=")[2].replace(":", "")
    assert printed == json.loads(ask("--json").out)["fingerprint"].replace(" ", "")


def test_after_a_new_one_papers_of_the_old_one_are_still_known(record: Record, ask: Any, clinic: Clinic) -> None:
    """And who took another, and when, stands in the ledger, which holds together."""
    unsigned = min(make_sealed(clinic).unsigned.values(), key=len)
    before = read_own_certificate(record)
    paper = sign(unsigned, before, AT, REASON, NAME)
    assert ask("--new", "--as", "lila", typed=(PASSWORDS["lila"],)).code == 0
    now = read_own_certificate(record).certificate
    assert now != before.certificate
    known = tuple(one.certificate for one in known_certificates(record))
    assert known == (now, before.certificate)
    assert inspect(paper, known, AT).problems == ()
    assert _changes(record) == [("Lila Invented", now.fingerprint)]
    assert check_record(record).problems == ()


def test_the_clinic_brings_its_own(record: Record, ask: Any, clinic: Clinic, tmp_path: Path) -> None:
    path = tmp_path / "own.p12"
    path.write_bytes(make_certificate(clinic, record.clock(), b"its own passphrase"))
    wanted = open_certificate(path.read_bytes(), b"its own passphrase", "own.p12").certificate
    wrong = ask("--bring", str(path), "--as", "lila", typed=(PASSWORDS["lila"], "another"))
    assert (wrong.code, "passphrase does not open it" in wrong.err, _changes(record)) == (11, True, [])
    missing = ask("--bring", str(tmp_path / "none.p12"), "--as", "lila", typed=(PASSWORDS["lila"], "x"))
    assert (missing.code, "certificate cannot be read (No such file" in missing.err) == (11, True), missing.err
    assert ask("--bring", str(path), "--as", "lila", typed=(PASSWORDS["lila"], "its own passphrase")).code == 0
    signing = read_own_certificate(record)
    assert signing.certificate == wanted
    assert signing.key.public_key() == open_certificate(path.read_bytes(), b"its own passphrase", "").key.public_key()
    assert _changes(record) == [("Lila Invented", wanted.fingerprint)]


@pytest.mark.parametrize(
    ("login", "typed", "code"),
    [
        (None, (), 2),
        ("asha", (PASSWORDS["asha"],), 13),
        ("lila", ("not her password",), 13),
        ("nobody", ("a password",), 13),
    ],
)
def test_nobody_but_a_lead_exchanges_it(
    record: Record, ask: Any, login: str | None, typed: tuple[str, ...], code: int
) -> None:
    before = read_own_certificate(record).certificate
    assert ask("--new", *(("--as", login) if login else ()), typed=typed).code == code
    assert read_own_certificate(record).certificate == before
    assert _changes(record) == []


def test_one_that_is_lost_or_damaged_is_made_new(record: Record, ask: Any) -> None:
    path = record.place.certificate_file
    path.write_bytes(b"damaged")
    assert ask().code == 11
    assert ask("--new", "--as", "lila", typed=(PASSWORDS["lila"],)).code == 0
    path.unlink()
    lost = ask()
    assert (lost.code, "consent record certificate --new" in lost.err) == (11, True)
    assert ask("--new", "--as", "lila", typed=(PASSWORDS["lila"],)).code == 0
    assert len(known_certificates(record)) == 1
    assert [one.suffix for one in record.place.folder.glob("certificate.*.damaged")] == [".damaged"]
