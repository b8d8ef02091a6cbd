"""The packs of a list as print files in its order, a slip before each patient, each sheet on fresh paper.

Two files, since they are printed at two moments and lie in two hands: ``print-desk.pdf`` before the talk, with what is
signed, what the counsellor reads and what theatre and surgeon use; ``print-home.pdf`` with what the patient takes
along, once the surgeon has reviewed it. In one file, somebody would sort paper patient by patient.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from consent.case import Case
from consent.clinic import Clinic
from consent.compose import Voice
from consent.compose.day_sheets import slips
from consent.errors import PrintError, Problem
from consent.pack.batch import Batch
from consent.pack.compose import SHEETS
from consent.print import to_pdf

if TYPE_CHECKING:
    from pikepdf import Page, Pdf

HOME_SHEETS = ("before-day", "going-home", "drop-calendar", "not-to-plan", "referral-letter", "lens-card")
"""What the patient takes along; every other sheet stays at the desk."""
FILES = {"print-desk.pdf": tuple(name for name in SHEETS if name not in HOME_SHEETS), "print-home.pdf": HOME_SHEETS}
_CHUNK = 20
"""Patients put together at a time: all their sheets are open at once."""
_HIDDEN = ".printing"


class Place(NamedTuple):
    """Where a patient stands: number on the day's list, and how many are on it."""

    number: int
    of: int


@dataclass(frozen=True)
class _Bundle:
    """One patient in one file."""

    case: Case
    place: Place
    sheets: tuple[Path, ...]


def places(cases: Sequence[Case]) -> tuple[Place, ...]:
    """The place of each of ``cases`` among those of the same day, in the order of the list."""
    days = [case.plan.date for case in cases]
    return tuple(Place(days[: at + 1].count(day), days.count(day)) for at, day in enumerate(days))


def write_print_files(batch: Batch, clinic: Clinic, duplex: bool = True, tag: str | None = None) -> tuple[Path, ...]:
    """Write the print files of ``batch`` into its folder, whole or not at all, and return their paths.

    A file that would hold nothing but slips is not written. With ``duplex`` each slip and each sheet begins on the
    front of a sheet of paper: a blank page follows an odd number. Slips are in the language ``tag``, the clinic's own.
    """
    voice = Voice((tag or clinic.language,), clinic.digits)
    hidden = batch.root / _HIDDEN
    shutil.rmtree(hidden, ignore_errors=True)
    hidden.mkdir()
    written = []
    for name, sheets in FILES.items():
        bundles = _bundles(batch, sheets)
        path = batch.root / name
        if any(bundle.sheets for bundle in bundles):
            chunks = list(_chunks(bundles, clinic, voice, duplex, hidden))
            _together(chunks, hidden / name)
            (hidden / name).replace(path)
            written.append(path)
        else:
            path.unlink(missing_ok=True)
    shutil.rmtree(hidden)
    return tuple(written)


def _bundles(batch: Batch, sheets: tuple[str, ...]) -> list[_Bundle]:
    found = zip(batch.cases, places(batch.cases), batch.results, strict=True)
    return [
        _Bundle(case, place, tuple(_sheets(batch.folder(at), result.files, sheets, case.patient.language)))
        for at, (case, place, result) in enumerate(found)
    ]


def _sheets(folder: Path, files: Iterable[str], sheets: tuple[str, ...], own: str) -> Iterator[Path]:
    """The sheets in the order in which they are used, those in the patient's language first."""
    names = [name.split(".") for name in sorted(files) if name.endswith(".pdf")]
    wanted = [parts for parts in names if parts[0] in sheets]
    for parts in sorted(wanted, key=lambda parts: (SHEETS.index(parts[0]), own not in parts[1].split("-"))):
        yield folder / ".".join(parts)


def _chunks(bundles: list[_Bundle], clinic: Clinic, voice: Voice, duplex: bool, hidden: Path) -> Iterator[Path]:
    from pikepdf import Pdf

    for start in range(0, len(bundles), _CHUNK):
        part = bundles[start : start + _CHUNK]
        path = hidden / f"{start}.pdf"
        with ExitStack() as stack, Pdf.new() as made:
            opened = [[stack.enter_context(Pdf.open(sheet)) for sheet in bundle.sheets] for bundle in part]
            counts = [sum(len(sheet.pages) for sheet in sheets) for sheets in opened]
            heads = _slips(part, counts, clinic, voice)
            for head, sheets in zip(heads, opened, strict=True):
                _add(made, [stack.enter_context(Pdf.open(BytesIO(head)))], duplex)
                _add(made, sheets, duplex)
            made.save(path, deterministic_id=True)
        yield path


def _slips(part: list[_Bundle], counts: list[int], clinic: Clinic, voice: Voice) -> list[bytes]:
    """A page for each patient, printed day by day."""
    from pikepdf import Pdf

    made: dict[int, bytes] = {}
    for day in sorted({bundle.case.plan.date for bundle in part}):
        chosen = [at for at, bundle in enumerate(part) if bundle.case.plan.date == day]
        shown = [(part[at].case, part[at].place.number, counts[at]) for at in chosen]
        document = slips(shown, clinic, part[chosen[0]].place.of, day, voice)
        with Pdf.open(BytesIO(to_pdf(document, clinic.digits))) as printed:
            if len(printed.pages) != len(chosen):
                raise PrintError(Problem("a slip does not fit on its page", "slips", remedy="shorten the name"))
            made |= {at: _one(page) for at, page in zip(chosen, printed.pages, strict=True)}
    return [made[at] for at in range(len(part))]


def _one(page: Page) -> bytes:
    from pikepdf import Pdf

    with Pdf.new() as alone:
        alone.pages.append(page)
        kept = BytesIO()
        alone.save(kept, deterministic_id=True)
    return kept.getvalue()


def _add(made: Pdf, sheets: Sequence[Pdf], duplex: bool) -> None:
    for sheet in sheets:
        made.pages.extend(sheet.pages)
        if duplex and len(sheet.pages) % 2:
            left, bottom, right, top = (float(edge) for edge in sheet.pages[-1].mediabox)
            made.add_blank_page(page_size=(right - left, top - bottom))


def _together(chunks: Sequence[Path], path: Path) -> None:
    from pikepdf import ObjectStreamMode, Pdf

    with ExitStack() as stack, Pdf.new() as made:
        for chunk in chunks:
            made.pages.extend(stack.enter_context(Pdf.open(chunk)).pages)
        made.save(path, deterministic_id=True, object_stream_mode=ObjectStreamMode.generate)
