"""The tables of a record as lines of JSON that either store can give and take."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlalchemy import LargeBinary, Text

from consent.record.schema import METADATA

if TYPE_CHECKING:
    from sqlalchemy import Column, ColumnElement, Connection, Table

_ROWS_AT_ONCE = 200


@dataclass(frozen=True)
class Measured:
    """A table as lines: how many, their SHA-256 (FIPS 180-4), hexadecimal, and their bytes."""

    rows: int
    sha256: str
    size: int


def tables() -> tuple[Table, ...]:
    """Every table of the record, those that others refer to first."""
    return tuple(METADATA.sorted_tables)


def lines(connection: Connection, table: Table) -> Iterator[bytes]:
    """The rows of ``table`` in the order of its primary key, one JSON array each, bytes as base64."""
    rows = table.select().order_by(*(_by_bytes(connection, column) for column in table.primary_key.columns))
    for row in connection.execute(rows.execution_options(yield_per=_rows_at_once(table))):
        yield json.dumps([_plain(value) for value in row], separators=(",", ":")).encode() + b"\n"


def _by_bytes(connection: Connection, column: Column[Any]) -> ColumnElement[Any]:
    """``column`` in the order of its bytes, as SQLite has it, whatever language the server sorts by."""
    is_text = connection.dialect.name != "sqlite" and isinstance(column.type, Text)
    return column.collate("C") if is_text else column


def measure(connection: Connection, table: Table) -> Measured:
    """How the lines of ``table`` measure now."""
    rows, size, total = 0, 0, hashlib.sha256()
    for line in lines(connection, table):
        rows, size = rows + 1, size + len(line)
        total.update(line)
    return Measured(rows, total.hexdigest(), size)


def fill(connection: Connection, table: Table, given: Iterator[bytes]) -> None:
    """Put the rows in the lines ``given`` into the empty ``table``. Raises ``ValueError`` for what is not a row."""
    batch: list[dict[str, Any]] = []
    for line in given:
        batch.append(_row(table, line))
        if len(batch) == _rows_at_once(table):
            connection.execute(table.insert(), batch)
            batch = []
    if batch:
        connection.execute(table.insert(), batch)


def _rows_at_once(table: Table) -> int:
    """Few where a row may be a file, so that they need little memory."""
    return 10 if table.name == "papers" else _ROWS_AT_ONCE


def _plain(value: Any) -> Any:
    return base64.b64encode(bytes(value)).decode() if isinstance(value, bytes | memoryview) else value


def _row(table: Table, line: bytes) -> dict[str, Any]:
    values = json.loads(line)
    if not isinstance(values, list) or len(values) != len(table.columns):
        raise ValueError(f"this is no row of {table.name}")
    return {
        column.name: base64.b64decode(value, validate=True) if isinstance(column.type, LargeBinary) else value
        for column, value in zip(table.columns, values, strict=True)
    }
