"""The blocks of a composed sheet, with those that stand side by side."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TypeVar

from consent.compose import Document
from consent.compose.document import Block, Columns, Facts

Kind = TypeVar("Kind", bound=Block)


def blocks_of(document: Document, kind: type[Kind], section: str | None = None) -> list[Kind]:
    """The blocks of one kind in reading order, of one section or of all."""
    parts = [part for part in document.sections if section in (None, part.id)]
    return [block for part in parts for block in _walk(part.blocks) if isinstance(block, kind)]


def facts_of(document: Document) -> dict[str, str]:
    """Every fact of the sheet by its label, in the first language."""
    found = [row for block in blocks_of(document, Facts) for row in block.rows]
    return {label[0].plain: value[0].plain for label, value in found}


def _walk(blocks: Iterable[Block]) -> Iterator[Block]:
    for block in blocks:
        yield block
        if isinstance(block, Columns):
            yield from _walk((*block.left, *block.right))
