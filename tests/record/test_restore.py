"""A backup becomes the same record again, in the same store or the other, or nothing is left of the attempt."""

from __future__ import annotations

import io
import json
import random
import stat
import tarfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing
from dataclasses import dataclass
from pathlib import Path

import pyrage
import pytest

from consent.clinic import Clinic
from consent.errors import ConsentError, RecordError, UsageError
from consent.record.backup import back_up
from consent.record.cases import all_cases
from consent.record.checking import check_record
from consent.record.place import Place, make_record
from consent.record.restore import restore
from tests.record.clock import TestClock
from tests.record.conftest import STORES
from tests.record.filled import fill, note
from tests.record.kept import PASSPHRASE, Rows, opened, rows_of, scrypt_once, without_scrypt
from tests.record.servers import Server

ERASED_LATER = "2027-02-21T04:30:00+00:00"


@dataclass(frozen=True)
class Kept:
    """A backup, and what the record it is of held when it was made."""

    backup: Path
    rows: Rows
    key: bytes
    cases: tuple[str, ...]


Lend = Callable[[Path, str], Place]


@pytest.fixture(scope="module")
def lend(server: Server) -> Iterator[Lend]:
    """A place for a record in either store, with its folder; nothing is there yet."""
    with ExitStack() as given:

        def one(folder: Path, store: str) -> Place:
            if store == "sqlite":
                return Place(folder)
            name = server.lend_database()
            given.callback(server.take_back, name)
            return Place(folder, server.address(name))

        yield one


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory, lend: Lend, clinic: Clinic) -> dict[str, Kept]:
    """A filled record of each store, backed up once; the record itself is gone."""
    return {store: _kept(tmp_path_factory.mktemp(store), lend, store, clinic) for store in STORES}


def _kept(folder: Path, lend: Lend, store: str, clinic: Clinic) -> Kept:
    place = lend(folder / "record", store)
    with closing(make_record(place, clinic, TestClock())) as record:
        fill(record)
        place.certificate_file.write_bytes(b"an invented certificate")
        backup = back_up(record, folder / "record.backup", PASSPHRASE).path
        cases = tuple(case.subject for case in all_cases(record))
        return Kept(backup, rows_of(place), place.key_file.read_bytes(), cases)


@pytest.fixture(autouse=True)
def _scrypt_once(monkeypatch: pytest.MonkeyPatch) -> None:
    scrypt_once(monkeypatch)


@pytest.mark.parametrize("to", STORES)
@pytest.mark.parametrize("origin", STORES)
def test_a_record_is_the_same_in_either_store(
    origin: str, to: str, kept: dict[str, Kept], lend: Lend, tmp_path: Path, clinic: Clinic, clock: TestClock
) -> None:
    """Every row of every table as the drivers give it, key and certificate byte for byte, and it goes on."""
    place = lend(tmp_path / "record", to)
    done = restore(kept[origin].backup, PASSPHRASE, place, clinic, clock=clock)
    with closing(done.record):
        assert rows_of(place) == kept[origin].rows
        assert place.key_file.read_bytes() == kept[origin].key
        assert place.certificate_file.read_bytes() == b"an invented certificate"
        assert {stat.S_IMODE(path.stat().st_mode) for path in place.folder.iterdir()} == {0o600}
        assert stat.S_IMODE(place.folder.stat().st_mode) == 0o700
        assert done.checked.problems == () and done.erased_again == ()
        last = done.manifest["last"]
        assert (last["sequence"], last["hash"]) == done.checked.last
        assert note(done.record).sequence == last["sequence"] + 1
        assert check_record(done.record).problems == ()


def _altered(content: bytes, inside: str) -> bytes:
    """One bit of a member of the file turned, at a place drawn by lot."""
    with tarfile.open(fileobj=io.BytesIO(content)) as outer:
        member = outer.getmember(inside)
    place = member.offset_data + random.Random(7).randrange(200, member.size)
    return content[:place] + bytes([content[place] ^ 1]) + content[place + 1 :]


def _without_last_chunk(content: bytes) -> bytes:
    """The end of the stream cut off, and the tar around it closed again as if nothing were missing."""
    out = io.BytesIO()
    with tarfile.open(fileobj=io.BytesIO(content)) as outer, tarfile.open(fileobj=out, mode="w") as made:
        for member in outer:
            file = outer.extractfile(member)
            assert file is not None
            whole = file.read()
            if member.name == "content.age":
                whole = whole[: -(len(whole) % (64 * 1024)) or None][:-1]
            member.size = len(whole)
            made.addfile(member, io.BytesIO(whole))
    return out.getvalue()


def _another(_: bytes) -> bytes:
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode="w") as made:
        made.addfile(tarfile.TarInfo("letter.txt"))
    return out.getvalue()


SPOILT: dict[str, Callable[[bytes], bytes]] = {
    "empty": lambda _: b"",
    "a paper": lambda _: b"%PDF-1.7\n" * 200,
    "another archive": _another,
    "cut in the middle": lambda content: content[: len(content) // 2],
    "cut at the end": lambda content: content[:-12_000],
    "last chunk missing": _without_last_chunk,
    "content altered": lambda content: _altered(content, "content.age"),
    "key altered": lambda content: _altered(content, "identity.age"),
}


def _refused(path: Path, passphrase: str, place: Place, clinic: Clinic) -> ConsentError:
    """How it was refused; nothing was left."""
    with pytest.raises(ConsentError) as refused:
        restore(path, passphrase, place, clinic)
    assert not place.folder.exists()
    return refused.value


@pytest.mark.parametrize("to", STORES)
def test_a_spoilt_file_is_refused_and_nothing_is_left(
    to: str, kept: dict[str, Kept], lend: Lend, server: Server, tmp_path: Path, clinic: Clinic
) -> None:
    place = lend(tmp_path / "record", to)
    content = kept["sqlite"].backup.read_bytes()
    for name, spoil in SPOILT.items():
        path = tmp_path / "spoilt.backup"
        path.write_bytes(spoil(content))
        refused = _refused(path, PASSPHRASE, place, clinic)
        assert type(refused) is RecordError and str(path) in str(refused), name
        assert "cut off or altered" in str(refused) or "passphrase does not open" in str(refused), name
    assert "passphrase does not open" in str(_refused(kept["sqlite"].backup, "other words", place, clinic))
    assert "cannot be read" in str(_refused(tmp_path / "nowhere", PASSPHRASE, place, clinic))
    if place.address:
        tables = "SELECT count(*) FROM pg_tables WHERE schemaname = 'public'"
        assert server.run(tables, place.address.split("/")[3].split("?")[0]) == [(0,)]


@pytest.mark.parametrize("to", STORES)
def test_a_record_is_never_restored_over_another(
    to: str, kept: dict[str, Kept], lend: Lend, tmp_path: Path, clinic: Clinic, clock: TestClock
) -> None:
    place = lend(tmp_path / "record", to)
    with closing(make_record(place, clinic, clock)) as there:
        note(there)
    before = rows_of(place), {path: path.read_bytes() for path in place.folder.iterdir()}
    with pytest.raises(RecordError, match="not empty"):
        restore(kept["sqlite"].backup, PASSPHRASE, place, clinic)
    if place.address:
        with pytest.raises(RecordError, match="a record here already"):
            restore(kept["sqlite"].backup, PASSPHRASE, Place(tmp_path / "other", place.address), clinic)
        assert not (tmp_path / "other").exists()
    assert (rows_of(place), {path: path.read_bytes() for path in place.folder.iterdir()}) == before


def _sealed_again(backup: Path, path: Path, change: Callable[[dict[str, object]], None]) -> None:
    """The backup with another manifest, by tar and the age format alone."""
    files = opened(backup)
    manifest = json.loads(files["manifest.json"])
    change(manifest)
    inner, outer = io.BytesIO(), io.BytesIO()
    _tar(inner, {**files, "manifest.json": json.dumps(manifest).encode()})
    identity = pyrage.x25519.Identity.generate()
    sealed = pyrage.passphrase.encrypt(str(identity).encode(), PASSPHRASE)
    _tar(outer, {"identity.age": sealed, "content.age": pyrage.encrypt(inner.getvalue(), [identity.to_public()])})
    path.write_bytes(outer.getvalue())


def _tar(out: io.BytesIO, files: dict[str, bytes]) -> None:
    with tarfile.open(fileobj=out, mode="w") as made:
        for name, content in files.items():
            member = tarfile.TarInfo(name)
            member.size = len(content)
            made.addfile(member, io.BytesIO(content))


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [("schema", 2, "this program of 1"), ("revision", "0009", "tables 0009"), ("tables", {}, "not what was backed up")],
)
def test_what_the_manifest_does_not_vouch_for_is_not_restored(
    key: str,
    value: object,
    said: str,
    kept: dict[str, Kept],
    tmp_path: Path,
    clinic: Clinic,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    without_scrypt(monkeypatch)
    path = tmp_path / "other.backup"
    _sealed_again(kept["sqlite"].backup, path, lambda manifest: manifest.update({key: value}))
    assert said in str(_refused(path, PASSPHRASE, Place(tmp_path / "record"), clinic))


@pytest.mark.parametrize("to", STORES)
def test_what_was_erased_later_is_erased_again(
    to: str, kept: dict[str, Kept], lend: Lend, tmp_path: Path, clinic: Clinic, clock: TestClock
) -> None:
    """By the list that lies at the place, or one brought; a case the backup does not know is passed over."""
    place = lend(tmp_path / "record", to)
    one, other, third = kept["sqlite"].cases
    place.folder.mkdir(mode=0o700)
    place.erasures_file.write_text(f"{one} {ERASED_LATER} identity\ncase-{'0' * 16} {ERASED_LATER} identity\n")
    brought = tmp_path / "brought.txt"
    brought.write_text(f"{other} {ERASED_LATER} identity,content\n")
    done = restore(kept["sqlite"].backup, PASSPHRASE, place, clinic, brought, clock)
    with closing(done.record) as record:
        assert sorted(done.erased_again) == sorted((one, other))
        assert check_record(record).problems == () and done.checked.problems == ()
        states = {case.subject: case for case in all_cases(record)}
        assert "name" not in states[one].data["patient"] and states[other].data == {}
        assert states[third].case.patient.name
        assert states[one].history[-1].entry.person == "the restore of a backup"
        keys = {(row[0], row[1]) for row in rows_of(place)["keys"]}
        assert keys == {(one, "content"), (third, "content"), (third, "identity")}
        assert {row[1] for row in rows_of(place)["papers"]} == {third}
        assert len(place.erasures_file.read_text().splitlines()) == 3


def test_what_was_erased_stays_so_in_the_next_backup(
    kept: dict[str, Kept], tmp_path: Path, clinic: Clinic, clock: TestClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The list goes with the backup, and nothing is erased twice."""
    without_scrypt(monkeypatch)
    brought = tmp_path / "brought.txt"
    brought.write_text(f"{kept['sqlite'].cases[0]} {ERASED_LATER} identity\n")
    first = restore(kept["sqlite"].backup, PASSPHRASE, Place(tmp_path / "first"), clinic, brought, clock)
    with closing(first.record) as record:
        backup = back_up(record, tmp_path / "next.backup", PASSPHRASE).path
    second = restore(backup, PASSPHRASE, Place(tmp_path / "second"), clinic, brought, clock)
    with closing(second.record):
        assert second.erased_again == () and second.checked.problems == ()
        assert Place(tmp_path / "second").erasures_file.read_text() == brought.read_text()


@pytest.mark.parametrize("line", ["case-12 2027-02-21T04:30:00+00:00 identity", "case-0123456789abcdef today identity"])
def test_a_list_that_cannot_be_read_restores_nothing(
    line: str, kept: dict[str, Kept], tmp_path: Path, clinic: Clinic
) -> None:
    brought = tmp_path / "brought.txt"
    brought.write_text(f"\n{line}\n")
    with pytest.raises(UsageError, match=r"brought\.txt, line 2"):
        restore(kept["sqlite"].backup, PASSPHRASE, Place(tmp_path / "record"), clinic, brought)
    with pytest.raises(UsageError, match="no such list"):
        restore(kept["sqlite"].backup, PASSPHRASE, Place(tmp_path / "record"), clinic, tmp_path / "nowhere")
    assert not (tmp_path / "record").exists()
