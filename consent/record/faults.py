"""What can go wrong with disk, file and server, said with what to do about it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from consent.errors import Problem, RecordError
from consent.wording import Remark, remark

_KEPT = "what was acknowledged before is kept; this last step was not recorded"
_FULL, _BUSY, _DOWN, _ILL = (remark(f"problem.store-{name}") for name in ("full", "busy", "down", "ill"))
_FAULTS: tuple[tuple[tuple[str, ...], str, str, str, Remark], ...] = (
    (
        ("disk is full", "no space left", "file too large"),
        "the disk is full",
        _KEPT,
        "make room on the disk, then do the step again",
        _FULL,
    ),
    (
        ("readonly", "read-only", "permission denied", "unable to open database"),
        "the record cannot be written here",
        _KEPT,
        "give the user of this program the right to write the folder and its files, or choose another with --record",
        _ILL,
    ),
    (
        ("malformed", "not a database", "corrupt", "unsupported file format"),
        "the file of the record is damaged",
        "entries in it may not be readable",
        "stop writing, copy the file as it is, run consent record check, and restore the last backup beside it",
        _ILL,
    ),
    (
        ("database is locked", "database table is locked", "lock timeout"),
        "somebody else was writing to the record for too long",
        _KEPT,
        "try again; if it stays so, look for a program that hangs",
        _BUSY,
    ),
    (
        ("only appended to",),
        "an entry of the ledger was to be altered or removed",
        "the record is only ever added to",
        "record what is true now as a new entry",
        _ILL,
    ),
    (
        ("authentication failed", "no pg_hba.conf entry", "no password supplied", "is not permitted to log in"),
        "the server of the record does not let this user in",
        _KEPT,
        "look at the user and the password in the address, and at what the server allows (pg_hba.conf)",
        _DOWN,
    ),
    (
        ('fatal:  database "', 'fatal:  role "'),
        "the server has no such database or user",
        _KEPT,
        "look at the address; createdb makes a database, and consent record init a record in it",
        _DOWN,
    ),
    (
        (
            "connection refused",
            "could not connect",
            "connection failed",
            "connection is bad",
            "failed to resolve host",
            "server closed",
            "terminating connection",
        ),
        "the server of the record does not answer",
        _KEPT,
        "start it, or look at the network and the address",
        _DOWN,
    ),
    (
        ("disk i/o error", "input/output error"),
        "the disk reports an error",
        _KEPT,
        "look at the disk and its room; if the error stays, copy the record to another disk and check it there",
        _ILL,
    ),
)


@contextmanager
def store_faults(where: str) -> Iterator[None]:
    """Turns a fault of disk, file or server into a ``RecordError`` that names ``where`` and says what to do."""
    from sqlalchemy.exc import DBAPIError

    try:
        yield
    except DBAPIError as failure:
        raise store_error(str(failure.orig), where) from failure
    except FileExistsError as failure:
        raise RecordError(
            Problem("there is a record here already", where, "it is never written over", "choose another folder")
        ) from failure
    except UnicodeDecodeError as failure:  # SQLite quotes the damaged bytes
        raise store_error("malformed", where) from failure
    except OSError as failure:
        raise store_error(failure.strerror or str(failure), where) from failure


def store_error(said: str, where: str) -> RecordError:
    """The error for what a store ``said``."""
    for signs, what, why, remedy, words in _FAULTS:
        if any(sign in said.lower() for sign in signs):
            return RecordError(Problem(what, where, why, remedy, words))
    return RecordError(Problem(f"the store refused: {said.strip()}", where, _KEPT, "run consent record check", _ILL))
