"""Reads an operating list from a file."""

from __future__ import annotations

from pathlib import Path

from consent.case.listing.listing import Listing, ListOptions


def read_list(path: Path, options: ListOptions | None = None) -> Listing:
    """The operating list in the CSV, XLSX or ODS file at ``path``; ``options`` hold where a row does not say.

    Raises ``CaseError`` where the file cannot be read, or lacks a column without which no row can become a case.
    """
    raise NotImplementedError
