"""Edits of single rows past the program: drawn at random, put in and taken out again."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

Row = tuple[Any, ...]
Tables = Mapping[str, "Table"]

KEY_COLUMNS = {
    "ledger": ("sequence",),
    "head": ("only",),
    "keys": ("subject", "purpose"),
    "papers": ("digest",),
    "passwords": ("account",),
    "sessions": ("token",),
    "alembic_version": ("version_num",),
}
"""By what a row of each table is found; every table of the record is here."""
ALSO_UNIQUE = {"ledger": ("hash",)}


@dataclass(frozen=True)
class Table:
    """What stands in a table."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]

    def places(self, names: tuple[str, ...]) -> tuple[int, ...]:
        return tuple(self.columns.index(name) for name in names)

    @property
    def keys(self) -> tuple[int, ...]:
        return self.places(KEY_COLUMNS[self.name])


@dataclass(frozen=True)
class Edit:
    """Rows that go and rows that come. ``kind``: change, delete, copy or swap."""

    kind: str
    table: Table
    gone: tuple[Row, ...]
    come: tuple[Row, ...]

    def __str__(self) -> str:
        return f"{self.kind} in {self.table.name}: {self.gone} -> {self.come}"

    def statements(self, mark: str) -> list[tuple[str, Row]]:
        """SQL with its values; ``mark`` stands for one of them."""
        table = self.table
        where = " AND ".join(f'"{table.columns[place]}" = {mark}' for place in table.keys)
        marks = ", ".join(mark for _ in table.columns)
        delete = f"DELETE FROM {table.name} WHERE {where}"  # noqa: S608
        insert = f"INSERT INTO {table.name} VALUES ({marks})"  # noqa: S608
        out = [(delete, tuple(row[place] for place in table.keys)) for row in self.gone]
        return [*out, *((insert, row) for row in self.come)]

    @property
    def undone(self) -> Edit:
        """The edit that takes this one back."""
        return Edit(self.kind, self.table, self.come, self.gone)


def draw_edit(tables: Tables, dice: random.Random) -> Edit:
    """One edit that changes something."""
    while True:
        table = tables[dice.choice(sorted(tables))]
        kind = dice.choice(sorted(_KINDS))
        edit = _KINDS[kind](table, dice)
        if edit is not None and set(edit.gone) != set(edit.come):
            return edit


def _change(table: Table, dice: random.Random) -> Edit:
    row, place = dice.choice(table.rows), dice.randrange(len(table.columns))
    return Edit("change", table, (row,), (_with(row, place, table, dice),))


def _delete(table: Table, dice: random.Random) -> Edit:
    return Edit("delete", table, (dice.choice(table.rows),), ())


def _copy(table: Table, dice: random.Random) -> Edit:
    row = dice.choice(table.rows)
    places = (dice.choice(table.keys), *table.places(ALSO_UNIQUE.get(table.name, ())))
    for place in places:
        row = _with(row, place, table, dice)
    return Edit("copy", table, (), (row,))


def _swap(table: Table, dice: random.Random) -> Edit | None:
    if len(table.rows) < 2:
        return None
    one, other = dice.sample(table.rows, 2)
    return Edit("swap", table, (one, other), (_keyed(other, one, table), _keyed(one, other, table)))


_KINDS: dict[str, Callable[[Table, random.Random], Edit | None]] = {
    "change": _change,
    "delete": _delete,
    "copy": _copy,
    "swap": _swap,
}


def _keyed(row: Row, by: Row, table: Table) -> Row:
    """What stands in ``row`` under the key of ``by``."""
    return tuple(by[place] if place in table.keys else value for place, value in enumerate(row))


def _with(row: Row, place: int, table: Table, dice: random.Random) -> Row:
    """``row`` with something else at ``place``."""
    old = row[place]
    others = [other[place] for other in table.rows if other[place] != old]
    while True:
        new = dice.choice(others) if others and dice.random() < 0.3 else _other(old, dice)
        if new != old:
            return (*row[:place], new, *row[place + 1 :])


def _other(old: Any, dice: random.Random) -> Any:
    if isinstance(old, int):
        return dice.choice([0, old + 1, old - 1, old + 1000, -old])
    if isinstance(old, str):
        return _other_text(old, dice)
    return _other_bytes(bytes(old), dice)


def _other_text(old: str, dice: random.Random) -> str:
    place = dice.randrange(len(old) or 1)
    letter = dice.choice("0123456789abcdefxyz AZ-.:\"'{}্ক")
    return dice.choice(
        [
            old[:place] + letter + old[place + 1 :],
            old[:place] + letter + old[place:],
            old[:place] + old[place + 1 :],
            old.swapcase(),
            old + " ",
            "",
        ]
    )


def _other_bytes(old: bytes, dice: random.Random) -> bytes:
    place = dice.randrange(len(old))
    flipped = bytes([old[place] ^ (1 << dice.randrange(8))])
    return dice.choice([old[:place] + flipped + old[place + 1 :], old[:place], old + b"\0", b""])
