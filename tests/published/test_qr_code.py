"""The code on paper: printed, read back by a decoder that is not ours, and the same text as the message.

ISO/IEC 18004 (QR code): capacity of a version 30 symbol at level L, quiet zone of 4 modules.
"""

from __future__ import annotations

import datetime as dt
import io
import re
import subprocess
from pathlib import Path

import pytest
import segno
import weasyprint
import zxingcpp
from PIL import Image

from consent.case import Case, OwnDrop
from consent.clinic import Clinic
from consent.compose import Voice
from consent.compose.code import code_svg, drops_code
from consent.compose.message import drops_message
from consent.compose.phone import phone_limits
from consent.review import Assessment, assess
from tests.conftest import shipped_case

WIDTH_MM = 56
CAPACITY_30_L = 1732
"""ISO/IEC 18004, table of capacities: version 30, level L, bytes."""


def printed(svg: str, folder: Path, dots_per_inch: int) -> Image.Image:
    """The code on a page by WeasyPrint and Poppler, as wide as on the sheet."""
    style = f"@page {{ size: 80mm 80mm; margin: 10mm }} svg {{ width: {WIDTH_MM}mm; height: {WIDTH_MM}mm }}"
    pdf = folder / "code.pdf"
    weasyprint.HTML(string=f"<style>{style}</style>{svg}").write_pdf(pdf)
    command = ["pdftoppm", "-r", str(dots_per_inch), "-singlefile", "-png", str(pdf), str(folder / "code")]
    subprocess.run(command, check=True)
    return Image.open(folder / "code.png")


def read(picture: Image.Image) -> str:
    (found,) = zxingcpp.read_barcodes(picture)
    assert found.format == zxingcpp.BarcodeFormat.QRCode
    return found.text


@pytest.mark.parametrize("tag", ["en", "bn"])
@pytest.mark.parametrize("name", ["ordinary", "hard"])
@pytest.mark.parametrize("dots_per_inch", [300, 200])
def test_printed_code_is_read_and_holds_the_message(
    clinic: Clinic, tmp_path: Path, name: str, tag: str, dots_per_inch: int
) -> None:
    """Word for word what the text message says, in the patient's language; no name is in it."""
    assessment, voice = assess(shipped_case(name), clinic), Voice((tag,), "locale")
    svg = drops_code(assessment, voice)
    assert svg is not None
    text = read(printed(svg, tmp_path, dots_per_inch))
    assert text == drops_message(assessment, Voice((tag,), "locale")).text
    assert assessment.case.patient.name not in text


def test_code_holds_the_text_it_was_made_of() -> None:
    """ISO/IEC 18004, byte mode, UTF-8: read from segno's own picture."""
    text = "ড্রপ ১, ২\nEye drops"
    picture = io.BytesIO()
    segno.make_qr(text, error="l", encoding="utf-8").save(picture, kind="png", scale=4, border=4)
    assert read(Image.open(picture)) == text


def test_svg_is_one_path_for_inline_use() -> None:
    svg = code_svg("a" * 400)
    assert svg is not None
    assert re.fullmatch(r'<svg viewBox="0 0 (\d+) \1" class="code"><path [^<>]*/></svg>\s*', svg)


def test_largest_code() -> None:
    """ISO/IEC 18004: version 30 at level L takes 1732 bytes; one more needs version 31 and finer modules."""
    assert code_svg("é" * (CAPACITY_30_L // 2)) is not None
    assert code_svg("é" * (CAPACITY_30_L // 2) + "a") is None
    assert code_svg("a" * 5000) is None
    limits = phone_limits()
    modules = 17 + 4 * limits.largest_version.value
    assert modules == 137
    module_mm = WIDTH_MM / (modules + 2 * limits.quiet_modules.value)
    assert module_mm >= 4 * 25.4 / 300, "DENSO WAVE: four dots or more of a printer of 300 dots per inch"


def test_what_does_not_fit_is_left_out(clinic: Clinic) -> None:
    """Both eyes on tapers and long-standing drops in Bengali: 3.6 kB, more than paper and camera keep apart."""
    assessment: Assessment = assess(both_eyes(), clinic)
    assert len(drops_message(assessment, Voice(("bn",), "locale")).text.encode()) > CAPACITY_30_L
    assert drops_code(assessment, Voice(("bn",), "locale")) is None


def both_eyes() -> Case:
    """The hard example with the other eye still on its taper and timolol in both."""
    case = shipped_case("hard")
    own = (OwnDrop(drug="timolol", eyes="each", times_a_day=2, decision="continue"),)
    other = case.other_eye.model_copy(update={"operated_on": dt.date(2026, 12, 14), "regimen": "weekly-4-3-2-1"})
    return case.model_copy(update={"own_drops": own, "other_eye": other})
