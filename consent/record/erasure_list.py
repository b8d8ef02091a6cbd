"""The list of what was erased, beside the record and outside it: an older backup must not bring it back."""

from __future__ import annotations

import datetime as dt
import os
import re
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from consent.errors import Problem, UsageError
from consent.record.keys import Purpose, keep_name

_LINE = re.compile(r"(case-[0-9a-f]{16}) (\S+) (identity(?:,content)?)(?: after ([0-9]{1,9}):([0-9a-f]{64}))?")


@dataclass(frozen=True)
class Erased:
    """One line: the case, when, and the purposes of the keys that were destroyed. Nothing in it is personal.

    ``after``: sequence and hash of the entry before the erasure's. A chain that holds it and went on knows whether the
    erasure was kept; a line from before this was written down names none.
    """

    subject: str
    at: dt.datetime
    destroyed: tuple[Purpose, ...]
    after: tuple[int, str] | None = None

    def __str__(self) -> str:
        told = f"{self.subject} {self.at.isoformat()} {','.join(self.destroyed)}"
        return f"{told} after {self.after[0]}:{self.after[1]}" if self.after else told


def read_list(path: Path) -> tuple[Erased, ...]:
    """What the list at ``path`` says, none where there is no such file. Raises ``UsageError`` naming the line."""
    if not path.exists():
        return ()
    return parse_list(path.read_text(encoding="utf-8", errors="replace"), str(path))


def parse_list(text: str, where: str) -> tuple[Erased, ...]:
    """The lines of the list ``text``, each once. Raises ``UsageError`` naming the line that cannot be read."""
    lines = enumerate(text.splitlines(), 1)
    return tuple(
        dict.fromkeys(_line(line.strip(), f"{where}, line {number}") for number, line in lines if line.strip())
    )


def whole(listed: Iterable[Erased]) -> tuple[Erased, ...]:
    """One of each case in ``listed``: that by which most was destroyed."""
    found: dict[str, Erased] = {}
    for one in listed:
        if one.subject not in found or len(one.destroyed) > len(found[one.subject].destroyed):
            found[one.subject] = one
    return tuple(found.values())


def _line(line: str, where: str) -> Erased:
    match = _LINE.fullmatch(line)
    try:
        if match is None:
            raise ValueError(line)
        after = (int(match[4]), match[5]) if match[4] else None
        destroyed = tuple(Purpose(one) for one in match[3].split(","))
        return Erased(match[1], dt.datetime.fromisoformat(match[2]), destroyed, after)
    except ValueError as failure:
        raise UsageError(
            Problem(
                "this line of the list of erasures cannot be read",
                where,
                "a patient who was erased would come back with the backup",
                "put it right: case, time, and what was destroyed",
            )
        ) from failure


def add_to_list(path: Path, erased: Erased) -> None:
    """Put ``erased`` at the end of the list at ``path``; it is on the disk when this returns."""
    with _opened(path, os.O_APPEND) as file:
        file.write(f"{erased}\n")
        file.flush()
        os.fsync(file.fileno())
    keep_name(path.parent)


def take_from_list(path: Path, erased: Erased) -> None:
    """Take ``erased`` out again, because nothing was erased after all; as far as the disk lets it be written.

    Call within ``Store.writing``, as lines are added within it: nobody else then writes to the list.
    """
    with suppress(OSError, UnicodeDecodeError):
        write_list(path, [line for line in path.read_text(encoding="ascii").splitlines() if line != str(erased)])


def write_list(path: Path, listed: Iterable[object]) -> None:
    """Keep ``listed`` as the whole list at ``path``."""
    beside = path.with_name(f".{path.name}.new")
    with _opened(beside, os.O_TRUNC) as file:
        file.writelines(f"{one}\n" for one in listed)
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)
    keep_name(path.parent)


def _opened(path: Path, how: int) -> IO[str]:
    """For writing; a new file is readable by its owner alone."""
    return os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | how, 0o600), "w", encoding="ascii")
