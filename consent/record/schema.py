"""The tables of the record. The ledger is the truth; every other table is held to it by a digest, a key or a stamp."""

from __future__ import annotations

from sqlalchemy import CheckConstraint, Column, ForeignKey, Index, Integer, LargeBinary, MetaData, Table, Text

METADATA = MetaData()
APPLICATION_ID = 0x436F6E31
"""Written into an SQLite file so that it can be told from any other."""

LEDGER = Table(
    "ledger",
    METADATA,
    Column("sequence", Integer, primary_key=True, autoincrement=False),
    Column("subject", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("content", Text, nullable=False),
    Column("hash", Text, nullable=False, unique=True),
    Index("ledger_by_subject", "subject", "sequence"),
    sqlite_strict=True,
)
"""One row an entry. ``content`` is canonical JSON (RFC 8785) and holds all that was recorded, the two columns before
it too, for they are only there to be searched; ``hash`` is the SHA-256 of ``content``, hexadecimal."""

HEAD = Table(
    "head",
    METADATA,
    Column("only", Integer, primary_key=True, autoincrement=False),
    Column("sequence", Integer, nullable=False),
    Column("hash", Text, nullable=False),
    Column("stamp", Text, nullable=False),
    Column("accounts", Text, nullable=False, server_default=""),
    CheckConstraint('"only" = 1', name="one_head"),
    sqlite_strict=True,
)
"""The last entry, stamped with the key: entries taken off the end are missed by it. ``accounts``: one digest for all
entries of accounts, under the same stamp, so that each reading of who may do what is proven without reading the whole
chain. It is the lock of all writing."""

KEYS = Table(
    "keys",
    METADATA,
    Column("subject", Text, primary_key=True),
    Column("purpose", Text, primary_key=True),
    Column("wrapped", LargeBinary, nullable=False),
    sqlite_strict=True,
)
"""The patient's keys, wrapped. To erase is to destroy a row."""

PAPERS = Table(
    "papers",
    METADATA,
    Column("digest", Text, primary_key=True),
    Column("subject", Text, nullable=False),
    Column("code", Text, nullable=False),
    Column("sequence", Integer, ForeignKey("ledger.sequence"), nullable=False),
    Column("sealed", LargeBinary, nullable=False),
    Index("papers_by_code", "code"),
    sqlite_strict=True,
)
"""Signed files, encrypted. ``digest``: SHA-256 of the file; ``code``: SHA-256 of the data it carries, as on paper."""

PASSWORDS = Table(
    "passwords",
    METADATA,
    Column("account", Text, primary_key=True),
    Column("sequence", Integer, ForeignKey("ledger.sequence"), nullable=False),
    Column("hash", Text, nullable=False),
    sqlite_strict=True,
)
"""Argon2 hashes; the ledger holds a digest of each, in an entry of accounts, which the stamp of the head proves."""

SESSIONS = Table(
    "sessions",
    METADATA,
    Column("token", Text, primary_key=True),
    Column("account", Text, nullable=False),
    Column("made_at", Text, nullable=False),
    Column("seen_at", Text, nullable=False),
    Column("stamp", Text, nullable=False),
    sqlite_strict=True,
)
"""Who is at a desk now. ``token``: SHA-256 of what the browser holds; each row is stamped with the key."""
