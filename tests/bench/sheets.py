"""Prints where the time of one pack goes: seconds for each sheet and its share of the pack, in one process, warm.

The hard example in the patient's language and the clinic's, every sheet composed and printed; the sheets after surgery
are those of the torn one. One turn is not counted; then the median of seven. What counts are the shares of one run: the
seconds are those of this machine. Not a test: nothing is asserted.
"""

from __future__ import annotations

from io import BytesIO

import pypdf

from consent.case import Case, read_case
from consent.clinic import read_clinic
from consent.compose import Document
from consent.pack import Pack, compose_pack
from consent.print import to_html, to_pdf
from consent.resources import package_data
from tests.bench.timing import seconds

EXAMPLES = ("hard", "torn")


def shipped(name: str) -> Case:
    """One of the invented cases."""
    return read_case(package_data("case", "examples", f"{name}.toml"))


def pages(document: Document) -> int:
    """Pages of the printed sheet."""
    return len(pypdf.PdfReader(BytesIO(to_pdf(document))).pages)


def report(name: str) -> None:
    """One pack: composed, then sheet by sheet."""
    case, clinic = shipped(name), read_clinic()
    pack: Pack = compose_pack(case, clinic)
    composed = seconds(lambda: compose_pack(case, clinic))
    printed = {document: seconds(lambda document=document: to_pdf(document)) for document in pack.documents}
    placed = {document: seconds(lambda document=document: to_html(document)) for document in pack.documents}
    whole = composed + sum(printed.values())
    print(f"{name}: {len(printed)} sheets, {whole:.2f} s a pack")
    rows = [("all composed", "", None, composed, 0.0)]
    for document, taken in printed.items():
        tags = "-".join(tag for tag, _ in document.languages)
        rows.append((document.sheet, tags, pages(document), taken, placed[document]))
    for sheet, tags, count, taken, html in rows:
        told = f"{count:2} pages, {1000 * taken / count:4.0f} ms a page, HTML {1000 * html:3.0f} ms" if count else ""
        print(f"  {sheet:18} {tags:6} {taken:6.3f} s {taken / whole:6.1%}  {told}".rstrip())


if __name__ == "__main__":
    for example in EXAMPLES:
        report(example)
