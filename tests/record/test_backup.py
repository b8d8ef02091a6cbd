"""A backup is of one moment, in the age format, whole or not there, and says what does not hold together."""

from __future__ import annotations

import base64
import hashlib
import json
import resource
import stat
import tarfile
from pathlib import Path

import pytest

from consent.clinic import Clinic
from consent.errors import MachineError, RecordError
from consent.record.backup import Backup, back_up
from consent.record.place import Record, open_record
from tests.record.children import fork
from tests.record.clock import TestClock
from tests.record.edits import KEY_COLUMNS
from tests.record.filled import fill, note, notes, open_one
from tests.record.kept import PASSPHRASE, opened, rows_of, without_scrypt


def test_all_of_a_record_is_in_its_backup(record: Record, tmp_path: Path) -> None:
    """Tables as the drivers give them, key and certificate byte for byte, digests (FIPS 180-4) by hashlib."""
    fill(record)
    record.place.certificate_file.write_bytes(b"an invented certificate")
    before = set(tmp_path.rglob("*"))
    made = back_up(record, tmp_path / "record.backup", PASSPHRASE)
    assert set(tmp_path.rglob("*")) - before == {made.path}, "something of it lies beside"
    files = opened(made.path)
    manifest = json.loads(files["manifest.json"])
    rows = rows_of(record.place)
    assert made.problems == () and manifest["problems"] == []
    assert set(manifest["tables"]) == set(rows) - {"alembic_version"} == set(KEY_COLUMNS) - {"alembic_version"}
    for table, told in manifest["tables"].items():
        content = files[f"tables/{table}.jsonl"]
        lines = [json.loads(line) for line in content.splitlines()]
        plain = [[base64.b64encode(v).decode() if isinstance(v, bytes) else v for v in row] for row in rows[table]]
        assert lines == plain and len(lines) > 0, table
        assert (told["rows"], told["sha256"]) == (len(rows[table]), hashlib.sha256(content).hexdigest())
    assert [(manifest["revision"],)] == rows["alembic_version"]
    assert manifest["last"] == {"sequence": rows["ledger"][-1][0], "hash": rows["ledger"][-1][-1]}
    assert files["record.key"] == record.place.key_file.read_bytes()
    assert files["certificate.p12"] == b"an invented certificate"
    assert stat.S_IMODE(made.path.stat().st_mode) == 0o600
    _is_of_the_age_format(made.path)
    _nothing_of_it_can_be_read(made, files["record.key"])


def _is_of_the_age_format(path: Path) -> None:
    """The first line, and the stanza of who can open it: age-encryption.org/v1, "Header", "scrypt", "X25519"."""
    with tarfile.open(path) as outer:
        for name, stanza in (("identity.age", b"-> scrypt "), ("content.age", b"-> X25519 ")):
            file = outer.extractfile(name)
            assert file is not None
            first, second, *_ = file.read(200).split(b"\n")
            assert first == b"age-encryption.org/v1" and second.startswith(stanza)


def _nothing_of_it_can_be_read(made: Backup, key: bytes) -> None:
    content = made.path.read_bytes()
    told = (key.strip(), bytes.fromhex(key.decode()), b"ledger", b"opened", made.manifest["last"]["hash"].encode())
    assert not [inside for inside in told if inside in content]


def test_a_backup_is_of_one_moment_while_others_write(
    record: Record, tmp_path: Path, clinic: Clinic, clock: TestClock
) -> None:
    """Another process keeps 300 entries meanwhile: head, ledger and check are of the same instant."""
    notes(record, 20)

    def work(tell: object) -> None:
        own = open_record(record.place, clinic, TestClock(clock.now))
        for number in range(300):
            tell(str(note(own, number).sequence))  # type: ignore[operator]

    record.store.close()
    child = fork(work)
    child.hear()
    made = back_up(record, tmp_path / "record.backup", PASSPHRASE)
    told = [int(line) for line in child.wait()]
    files = opened(made.path)
    ledger = [json.loads(line) for line in files["tables/ledger.jsonl"].splitlines()]
    (head,) = [json.loads(line) for line in files["tables/head.jsonl"].splitlines()]
    assert made.problems == ()
    assert [row[0] for row in ledger] == list(range(1, head[1] + 1)) and ledger[-1][-1] == head[2]
    assert told[0] <= head[1] < told[-1] == len(rows_of(record.place)["ledger"]), "nobody wrote meanwhile"


def test_a_record_with_faults_is_backed_up_and_said_to_have_them(
    record: Record, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    without_scrypt(monkeypatch)
    open_one(record)
    with record.store.engine.connect() as connection, connection.begin():
        connection.exec_driver_sql("UPDATE keys SET subject = 'nobody'")
        connection.exec_driver_sql("DELETE FROM head")
    made = back_up(record, tmp_path / "record.backup", PASSPHRASE)
    manifest = json.loads(opened(made.path)["manifest.json"])
    assert "the stamp of the last entry" in str(made.problems[0])
    assert manifest["problems"] == [str(problem) for problem in made.problems]
    assert manifest["tables"]["ledger"]["rows"] == len(rows_of(record.place)["ledger"]) > 0


def test_a_full_disk_leaves_no_half_file(
    sqlite_record: Record, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The kernel refuses to write past a limit: setrlimit(2), RLIMIT_FSIZE."""
    without_scrypt(monkeypatch)
    open_one(sqlite_record)
    folder = tmp_path / "stick"
    folder.mkdir()
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, hard))
    try:
        with pytest.raises(MachineError, match="File too large"):
            back_up(sqlite_record, folder / "record.backup", PASSPHRASE)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert not list(folder.iterdir())


def test_a_place_that_cannot_be_written_is_told(sqlite_record: Record, tmp_path: Path) -> None:
    missing = tmp_path / "no" / "such" / "folder" / "record.backup"
    with pytest.raises(MachineError, match="choose another place"):
        back_up(sqlite_record, missing, PASSPHRASE)
    assert not (tmp_path / "no").exists()


def test_a_backup_is_never_written_over(sqlite_record: Record, tmp_path: Path) -> None:
    notes(sqlite_record, 1)
    path = tmp_path / "record.backup"
    path.write_bytes(b"the only one there is")
    with pytest.raises(RecordError, match="never written over"):
        back_up(sqlite_record, path, PASSPHRASE)
    assert path.read_bytes() == b"the only one there is"
