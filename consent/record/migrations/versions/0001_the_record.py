"""The record: ledger with its head, keys, papers, passwords, sessions. The ledger takes no change and no deletion."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

_APPLICATION_ID = 0x436F6E31


def upgrade() -> None:
    """Makes the tables as they were in this version; later changes have a migration of their own."""
    op.create_table(
        "ledger",
        sa.Column("sequence", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("subject", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("content", sa.Text, nullable=False),
        sa.Column("hash", sa.Text, nullable=False, unique=True),
        sqlite_strict=True,
    )
    op.create_index("ledger_by_subject", "ledger", ["subject", "sequence"])
    op.create_table(
        "head",
        sa.Column("only", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("sequence", sa.Integer, nullable=False),
        sa.Column("hash", sa.Text, nullable=False),
        sa.Column("stamp", sa.Text, nullable=False),
        sa.CheckConstraint('"only" = 1', name="one_head"),
        sqlite_strict=True,
    )
    op.create_table(
        "keys",
        sa.Column("subject", sa.Text, primary_key=True),
        sa.Column("purpose", sa.Text, primary_key=True),
        sa.Column("wrapped", sa.LargeBinary, nullable=False),
        sqlite_strict=True,
    )
    op.create_table(
        "papers",
        sa.Column("digest", sa.Text, primary_key=True),
        sa.Column("subject", sa.Text, nullable=False),
        sa.Column("code", sa.Text, nullable=False),
        sa.Column("sequence", sa.Integer, sa.ForeignKey("ledger.sequence"), nullable=False),
        sa.Column("sealed", sa.LargeBinary, nullable=False),
        sqlite_strict=True,
    )
    op.create_index("papers_by_code", "papers", ["code"])
    op.create_table(
        "passwords",
        sa.Column("account", sa.Text, primary_key=True),
        sa.Column("sequence", sa.Integer, sa.ForeignKey("ledger.sequence"), nullable=False),
        sa.Column("hash", sa.Text, nullable=False),
        sqlite_strict=True,
    )
    op.create_table(
        "sessions",
        sa.Column("token", sa.Text, primary_key=True),
        sa.Column("account", sa.Text, nullable=False),
        sa.Column("made_at", sa.Text, nullable=False),
        sa.Column("seen_at", sa.Text, nullable=False),
        sa.Column("stamp", sa.Text, nullable=False),
        sqlite_strict=True,
    )
    _only_appended()


def _only_appended() -> None:
    """Triggers that refuse a change or a deletion: a slip is stopped here, an attack is found by the chain."""
    if op.get_bind().dialect.name == "sqlite":
        for act in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER ledger_no_{act.lower()} BEFORE {act} ON ledger "
                "BEGIN SELECT RAISE(ABORT, 'the ledger is only appended to'); END"
            )
        # INSERT OR REPLACE takes rows away without asking a trigger for deletions.
        op.execute(
            "CREATE TRIGGER ledger_no_replace BEFORE INSERT ON ledger "
            "WHEN EXISTS (SELECT 1 FROM ledger WHERE sequence >= NEW.sequence OR hash = NEW.hash) "
            "BEGIN SELECT RAISE(ABORT, 'the ledger is only appended to'); END"
        )
        op.execute(f"PRAGMA application_id = {_APPLICATION_ID}")
        return
    op.execute(
        "CREATE FUNCTION ledger_only_appended() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION 'the ledger is only appended to'; END $$"
    )
    op.execute(
        "CREATE TRIGGER ledger_no_change BEFORE UPDATE OR DELETE ON ledger "
        "FOR EACH ROW EXECUTE FUNCTION ledger_only_appended()"
    )
    op.execute(
        "CREATE TRIGGER ledger_no_truncate BEFORE TRUNCATE ON ledger "
        "FOR EACH STATEMENT EXECUTE FUNCTION ledger_only_appended()"
    )
