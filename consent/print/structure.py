"""What the tags of the paper say of tables and headings (ISO 32000-1, 14.8.4), mended before it is written.

A table without a heading is one of layout, not of data: it is told as plain divisions, so that a screen reader reads
it on as text. A heading says whether it is of its column or of its row. A heading in two languages is one heading;
where the title is not printed, as on the calendar, the headings of sections are of the first level.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

_PARTS = frozenset({"/Table", "/THead", "/TBody", "/TFoot", "/TR", "/TH", "/TD"})
_HEADINGS = frozenset({"/H1", "/H2"})


def mend_tags(pdf: Any) -> None:
    """Give every heading cell of ``pdf`` its scope, and take the tables without headings for what they are."""
    _mend_headings(pdf)
    for element in pdf.objects:
        if _kind(element) == "/Table":
            parts = list(_parts(pdf, element))
            headings = [part for part in parts if _kind(part) == "/TH"]
            for heading in headings:
                _scope(pdf, heading)
            for part in parts:
                if not part.get("A", {}).get("Headers", True):  # a cell with no heading of a column names none
                    del part["A"]["Headers"]
            if not headings:
                for part in (element, *parts):
                    part["S"] = "/Div"
                    part.pop("A", None)


def _mend_headings(pdf: Any) -> None:
    headings = [element for element in pdf.objects if _kind(element) in _HEADINGS]
    for heading in headings:
        if _kind(_at(pdf, heading["P"])) in _HEADINGS:
            heading["S"] = "/NonStruct"
    if "/H1" not in {_kind(heading) for heading in headings}:
        for heading in headings:
            heading["S"] = heading["S"].replace("/H2", "/H1")


def _scope(pdf: Any, heading: Any) -> None:
    row = _at(pdf, heading["P"])
    cells = [_kind(_at(pdf, kid)) for kid in row["K"] if not isinstance(kid, int)]
    heads_rows = "/TD" in cells and _kind(_at(pdf, row["P"])) != "/THead"
    heading["A"]["Scope"] = "/Row" if heads_rows else "/Column"


def _parts(pdf: Any, element: Any) -> Iterator[Any]:
    """The parts of a table, but not those of a table within one of its cells."""
    for kid in element.get("K", ()):
        if isinstance(kid, int):
            continue
        found = _at(pdf, kid)
        if _kind(found) in _PARTS - {"/Table"}:
            yield found
            yield from _parts(pdf, found)


def _kind(element: Any) -> str | None:
    return element.get("S") if isinstance(element, dict) else None


def _at(pdf: Any, reference: Any) -> Any:
    if isinstance(reference, bytes):
        reference = reference.decode()
    return pdf.objects[int(reference.split()[0])]
