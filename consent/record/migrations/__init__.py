"""Migrations of the record's tables, run by Alembic in one transaction each."""
