"""The head stands for the entries of accounts: a digest of them under its stamp, written where the key is at hand."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Adds the column, empty; ``consent.record.restamp`` fills it."""
    op.add_column("head", sa.Column("accounts", sa.Text, nullable=False, server_default=""))
