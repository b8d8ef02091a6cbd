"""Whether a page would say word for word what the signed papers say, whatever changed in program or settings since."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from threading import Lock
from typing import Any

from consent.compose import Document
from consent.desk.phone_page import SHEETS_SHOWN, sheet_in
from consent.errors import PaperError, RecordError
from consent.pack import Pack
from consent.record.inspection import inspect
from consent.record.papers import read_paper
from consent.record.place import Record
from consent.record.state import CONSENT, SealedSet

_known: dict[str, tuple[Mapping[str, Any], ...]] = {}
_lock = Lock()


def same_as_signed(record: Record, papers: SealedSet, pack: Pack, tag: str) -> bool:
    """Whether the sheets of ``pack`` that the page shows in the language ``tag`` are those that ``papers`` hold.

    Before surgery nothing that it shows was signed, and there is nothing to compare.
    """
    if papers.stage == CONSENT:
        return True
    signed = {(one["sheet"], tag): one[tag] for one in signed_words(record, papers) if tag in one}
    return all(
        (name, tag) in signed and signed[name, tag] == _digest(sheet_in(pack, name, tag))
        for name in SHEETS_SHOWN[papers.stage]
    )


def signed_words(record: Record, papers: SealedSet) -> tuple[Mapping[str, Any], ...]:
    """For each sheet of ``papers`` the SHA-256 of its words in each language, as they were sealed."""
    with _lock:
        found = _known.get(papers.code)
    if found is None:
        found = _read(record, papers)
        if found:
            with _lock:
                _known[papers.code] = found
    return found


def _read(record: Record, papers: SealedSet) -> tuple[Mapping[str, Any], ...]:
    """Nothing where the paper cannot be read, or carries other data than its code says: then nothing is the same."""
    try:
        inspected = inspect(read_paper(record, papers.papers[0].digest), (), record.clock())
    except (PaperError, RecordError):
        return ()
    return tuple(inspected.data["assessment"]["sheets"]) if inspected.code == papers.code else ()


def _digest(sheet: Document | None) -> str | None:
    if sheet is None:
        return None
    (texts,) = sheet.texts_by_language().values()
    return hashlib.sha256("\n".join(texts).encode()).hexdigest()
