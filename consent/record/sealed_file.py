"""A file that opens with a passphrase alone: written whole or not at all, streamed however large it is."""

from __future__ import annotations

import os
import tarfile
import tempfile
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from consent.errors import MachineError, Problem, RecordError
from consent.record.keys import keep_name

IDENTITY, CONTENT = "identity.age", "content.age"
"""Two files in the age format (age-encryption.org/v1) in a tar: an identity under the passphrase, the rest under it.

The format allows a passphrase to stand for the recipient, but pyrage does that only for what fits into memory; a fresh
identity is small, and to its recipient it streams. Without this program: ``tar -x``, then ``age -d`` twice.
"""
_BLOCK = tarfile.BLOCKSIZE
END = bytes(2 * _BLOCK)
"""How a tar ends (POSIX.1, pax, "ustar Interchange Format")."""


class _Pieces:
    """What pyrage reads from: pieces one after the other. ``failure``: what making them raised."""

    def __init__(self, pieces: Iterable[bytes]) -> None:
        self._pieces, self._rest = iter(pieces), b""
        self.failure: BaseException | None = None

    def read(self, size: int) -> bytes:
        try:
            while not self._rest and (piece := next(self._pieces, None)) is not None:
                self._rest = piece
        except BaseException as failure:
            self.failure = failure
            raise
        given, self._rest = self._rest[:size], self._rest[size:]
        return given


def write_sealed(path: Path, passphrase: str, pieces: Iterable[bytes]) -> None:
    """Write ``pieces``, encrypted, into the new file ``path``, which only its owner can read.

    Raises ``RecordError`` where there is a file already, ``MachineError`` where it cannot be written, and what
    ``pieces`` raise; then there is no file and no part of one.
    """
    refuse_existing(path)
    with _unwritable(path):
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "w+b") as file:
                _write(file, passphrase, pieces)
                file.flush()
                os.fsync(file.fileno())
            Path(name).replace(path)
            keep_name(path.parent)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise


def refuse_existing(path: Path) -> None:
    """Raise ``RecordError`` where there is something at ``path`` already."""
    if path.exists():
        raise RecordError(
            Problem("there is a file here already", str(path), "a backup is never written over", "choose another name")
        )


@contextmanager
def _unwritable(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as failure:
        raise MachineError(
            Problem(
                f"the file cannot be written ({failure.strerror or failure})",
                str(path),
                "nothing was kept of it",
                "make room, or choose another place with --to",
            )
        ) from failure


def _write(file: IO[bytes], passphrase: str, pieces: Iterable[bytes]) -> None:
    from pyrage import EncryptError, x25519
    from pyrage import encrypt_io as encrypt
    from pyrage import passphrase as by_passphrase

    identity = x25519.Identity.generate()
    sealed = by_passphrase.encrypt(str(identity).encode(), passphrase)
    file.write(header(IDENTITY, len(sealed)) + sealed + padding(len(sealed)))
    start = file.tell()
    file.write(bytes(_BLOCK))
    reader, writer = _Pieces(pieces), _Kept(file)
    try:
        encrypt(reader, writer, [identity.to_public()])
    except (EncryptError, OSError):
        if failure := reader.failure or writer.failure:
            raise failure from None
        raise
    size = file.tell() - start - _BLOCK
    file.write(padding(size) + END)
    file.seek(start)
    file.write(header(CONTENT, size))


class _Kept:
    """What pyrage writes to. ``failure``: what the disk said."""

    def __init__(self, file: IO[bytes]) -> None:
        self._file = file
        self.failure: BaseException | None = None

    def write(self, content: bytes) -> int:
        try:
            return self._file.write(content)
        except BaseException as failure:
            self.failure = failure
            raise

    def flush(self) -> None:
        self._file.flush()


def header(name: str, size: int) -> bytes:
    """The block of a tar that names a member."""
    member = tarfile.TarInfo(name)
    member.size, member.mode = size, 0o600
    return member.tobuf(tarfile.GNU_FORMAT)


def padding(size: int) -> bytes:
    """What fills the last block of a member."""
    return bytes(-size % _BLOCK)


@contextmanager
def reading_sealed(path: Path, passphrase: str) -> Iterator[IO[bytes]]:
    """What was written, as a stream. What it gives counts only once it has ended without an error: a file that was cut
    off is found at its end.

    Raises ``RecordError`` for another file, a wrong passphrase, and one that was altered or cut off.
    """
    try:
        with path.open("rb") as file, tarfile.open(fileobj=file) as outer:
            identity = _identity(_member(outer, IDENTITY, path), passphrase, path)
            with _decrypted(_member(outer, CONTENT, path), identity, path) as stream:
                yield stream
    except tarfile.TarError as failure:
        raise damaged(path) from failure
    except OSError as failure:
        raise RecordError(Problem(f"the file cannot be read ({failure.strerror or failure})", str(path))) from failure


def _member(outer: tarfile.TarFile, name: str, path: Path) -> IO[bytes]:
    try:
        found = outer.extractfile(name)
    except KeyError:
        found = None
    if found is None:
        raise damaged(path)
    return found


def _identity(sealed: IO[bytes], passphrase: str, path: Path) -> object:
    from pyrage import DecryptError, x25519
    from pyrage import passphrase as by_passphrase

    try:
        return x25519.Identity.from_str(by_passphrase.decrypt(sealed.read(), passphrase).decode())
    except DecryptError as failure:
        remedy = "type the passphrase that was chosen when the backup was made; if it is right, the file was altered"
        raise RecordError(Problem("this passphrase does not open the file", str(path), remedy=remedy)) from failure


@contextmanager
def _decrypted(sealed: IO[bytes], identity: object, path: Path) -> Iterator[IO[bytes]]:
    """Decrypts in a thread into a pipe, for pyrage pushes what a tar pulls; nothing is put on the disk in the clear."""
    reading, writing = os.pipe()
    failures: list[BaseException] = []
    thread = threading.Thread(target=_push, args=(sealed, writing, identity, failures))
    thread.start()
    try:
        with os.fdopen(reading, "rb") as stream:
            yield stream
            while stream.read(1 << 16):
                pass
    except (tarfile.TarError, ValueError) as failure:
        raise damaged(path) from failure
    finally:
        thread.join()
    if failures:
        raise damaged(path) from failures[0]


def _push(sealed: IO[bytes], writing: int, identity: object, failures: list[BaseException]) -> None:
    from pyrage import decrypt_io as decrypt

    try:
        with os.fdopen(writing, "wb") as pipe:
            decrypt(sealed, pipe, [identity])
    except BaseException as failure:  # told by the reading side, once it has ended
        failures.append(failure)


def damaged(path: Path) -> RecordError:
    """The error for a file that is not a whole backup."""
    return RecordError(
        Problem(
            "this is no backup of a record, or it was cut off or altered",
            str(path),
            "nothing in it can be relied on",
            "fetch the file again, or take another backup",
        )
    )
