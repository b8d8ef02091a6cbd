"""Small pictures of pages, kept to be compared with: ``python -m tests.render.references`` makes them anew.

Made anew after a change of a page that was meant and looked at; then they are looked at again before they are kept.
Drawn by Poppler at 100 dots to the inch and made small by Pillow, so that hinting and smoothing weigh little.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
from PIL import Image, ImageFilter

from consent.clinic import read_clinic
from consent.pack import compose_pack
from consent.print import to_pdf
from tests.render.reading import draw

FOLDER = Path(__file__).parent / "references"
UPRIGHT_A4 = 300
"""Pixels of the width of A4 upright; every page is kept at this scale."""
TILE = 15
"""Pixels of a side of a square over which differences are averaged: a centimetre of paper."""
MOST_DIFFERENCE = 14.0
"""Of 255 greys, the mean absolute difference of any square.

Measured in 2026 over the eight pages, in the worst square: the same page drawn at 110 or 150 dots to the inch, 7 to 13;
a block moved by 1 mm, 15 to 31, by 2 mm, 36 to 79; a face, a pictogram or a drawing left out, 32 to 128. Signs of 7 mm
on the wall calendar left out make 11 to 25, so one of them may be missed.
"""
# Example, sheet, languages, page.
PAGES = (
    ("hard", "consent-form", ("bn", "en"), 1),
    ("hard", "risk-sheet", ("bn", "en"), 1),
    ("hard", "going-home", ("bn",), 1),
    ("second-eye", "drop-calendar", ("hi",), 1),
    ("second-eye", "drop-calendar", ("hi",), 2),
    ("torn", "not-to-plan", ("bn",), 1),
    ("torn", "lens-card", ("bn", "en"), 1),
    ("ordinary", "before-day", ("bn",), 1),
)


def path(example: str, sheet: str, tags: tuple[str, ...], page: int) -> Path:
    """Where the picture of a page is kept."""
    return FOLDER / f"{example}.{sheet}.{'-'.join(tags)}.{page}.png"


def small(picture: Image.Image, dots: int) -> Image.Image:
    """The page as drawn at ``dots`` to the inch, in greys, so small that A4 upright is 300 pixels wide."""
    scale = UPRIGHT_A4 / (210 * dots / 25.4)
    size = (round(picture.width * scale), round(picture.height * scale))
    return picture.convert("L").resize(size, Image.Resampling.BOX)


def picture(pdf: Path, page: int, folder: Path, dots: int = 100) -> Image.Image:
    """One page of ``pdf``, small."""
    (drawn,) = draw(pdf, folder, dots, page, page)
    return small(drawn, dots)


def difference(one: Image.Image, other: Image.Image) -> float:
    """Mean absolute difference of greys in the square that differs most; all of 255 where the pages differ in size.

    One pixel of width or height is rounding, and is evened out.
    """
    if max(abs(one.width - other.width), abs(one.height - other.height)) > 1:
        return 255.0
    other = other.resize(one.size)
    blurred = [np.asarray(each.filter(ImageFilter.GaussianBlur(1)), dtype=float) for each in (one, other)]
    apart = np.abs(blurred[0] - blurred[1])
    rows, columns = (-(-length // TILE) for length in apart.shape)
    apart = np.pad(apart, ((0, rows * TILE - apart.shape[0]), (0, columns * TILE - apart.shape[1])))
    return float(apart.reshape(rows, TILE, columns, TILE).mean(axis=(1, 3)).max())


def main() -> None:
    """Print the pages and keep their pictures; pictures no longer wanted go."""
    from tests.conftest import LANGUAGES, shipped_case

    FOLDER.mkdir(exist_ok=True)
    wanted = {path(*page) for page in PAGES}
    for old in set(FOLDER.glob("*.png")) - wanted:
        old.unlink()
    clinic = read_clinic()
    with tempfile.TemporaryDirectory() as name:
        for example, sheet, tags, page in PAGES:
            pdf = Path(name) / f"{example}.{sheet}.{'-'.join(tags)}.pdf"
            if not pdf.exists():
                documents = compose_pack(shipped_case(example), clinic, LANGUAGES[example], (sheet,)).documents
                (document,) = [one for one in documents if tuple(tag for tag, _ in one.languages) == tags]
                pdf.write_bytes(to_pdf(document))
            kept = path(example, sheet, tags, page)
            picture(pdf, page, Path(name)).save(kept, optimize=True)
            print(f"{kept.name}: {kept.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
