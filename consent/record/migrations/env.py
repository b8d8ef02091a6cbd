"""Runs the migrations on the connection that was handed over; there is no other way to run them."""

from alembic import context

from consent.record.schema import METADATA

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    transaction_per_migration=False,
    transactional_ddl=True,
)
context.run_migrations()
