"""Writes operating lists as CSV: the empty template, cases, and rows set aside with their reasons."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from consent.case.listing.listing import Listing
from consent.case.model import Case


def template_csv() -> str:
    """The headings of an operating list, the needed ones first; CSV of RFC 4180."""
    raise NotImplementedError


def write_template(path: Path) -> None:
    """Write the template to ``path`` as UTF-8 with the byte order mark that spreadsheet programs look for."""
    raise NotImplementedError


def set_aside_csv(listing: Listing) -> str:
    """The rows set aside as in the file, with their number there and why; CSV of RFC 4180."""
    raise NotImplementedError


def list_csv(cases: Sequence[Case]) -> str:
    """``cases`` as an operating list, with every fact that a list can hold."""
    raise NotImplementedError
