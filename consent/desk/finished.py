"""Finished files: each named in words, and all of them put into one that is printed at once."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from io import BytesIO

from consent.desk.work import File
from consent.language import languages, load_catalogue

_PDF = "application/pdf"
TOGETHER = "all.pdf"


@dataclass(frozen=True)
class NamedFile:
    """A file as it is offered: what its name says of sheet, languages and day; no sheet where it is another file."""

    name: str
    sheet: str | None
    tags: tuple[str, ...] = ()
    day: dt.date | None = None


def named_file(name: str) -> NamedFile:
    """What the name of a printed file says: ``sheet.languages.pdf``, or ``sheet.day.language.pdf`` of a list."""
    sheet, *between = name.split(".")[:-1]
    if f"sheet.{sheet}" not in load_catalogue("en").messages:
        return NamedFile(name, None)
    known = languages()
    tags = tuple(tag for tag in between[-1].split("-") if tag in known) if between else ()
    return NamedFile(name, sheet, tags, _day(between[0]) if between else None)


def _day(text: str) -> dt.date | None:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        return None


def can_join(files: Sequence[File]) -> bool:
    """Whether there are several, and all of them are printed."""
    return len(files) > 1 and all(file.media_type == _PDF and file.path is None for file in files)


def joined(files: Sequence[File]) -> File:
    """``files`` in their order as one, each beginning on the front of a sheet of paper: a blank page follows an odd
    number of pages."""
    from pikepdf import Pdf

    with ExitStack() as stack, Pdf.new() as made:
        for file in files:
            opened = stack.enter_context(Pdf.open(BytesIO(file.content)))
            made.pages.extend(opened.pages)
            if len(opened.pages) % 2 and file is not files[-1]:
                left, bottom, right, top = (float(edge) for edge in opened.pages[-1].mediabox)
                made.add_blank_page(page_size=(right - left, top - bottom))
        kept = BytesIO()
        made.save(kept, deterministic_id=True)
    return File(TOGETHER, _PDF, kept.getvalue())
