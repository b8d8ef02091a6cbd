"""${message}."""

revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}


def upgrade() -> None:
    """Carries the record over. What was recorded is never altered."""
    ${upgrades if upgrades else "raise NotImplementedError"}
