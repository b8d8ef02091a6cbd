"""Why a cell of an operating list is refused."""

from __future__ import annotations

from consent.case.plain import printable


class CellError(ValueError):
    """What is wrong with a cell, and what may be written instead."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(what)
        self.what, self.remedy = what, remedy


def refused(cell: str, what: str, remedy: str) -> CellError:
    """The error that ``cell`` is not ``what``; ``remedy`` is what may be written instead."""
    return CellError(f'"{printable(cell)}" is not {what}', remedy)
