"""The code in the head of every sealed page: there and back again, and read off paper by a decoder that is not ours."""

from __future__ import annotations

import base64
import hashlib
import re
import string
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
import segno
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageFilter

from consent.compose.page_code import CodeParts, code_text, page_code, parse_code, parse_short, short_code
from consent.errors import PaperError
from consent.print import to_html
from tests.record.sealing import Sealed

# ISO/IEC 18004, table 5: the 45 characters of the alphanumeric mode.
ALPHANUMERIC = set(string.digits + string.ascii_uppercase + " $%*+-./:")
DIGEST = hashlib.sha256(b"any data").hexdigest()
# What Patient.record_number accepts.
RECORD_NUMBERS = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9 ./_-]{0,39}", fullmatch=True)
PARTS = st.builds(
    CodeParts, RECORD_NUMBERS, st.integers(1, 999_999), st.binary(min_size=32, max_size=32).map(bytes.hex)
)


@given(PARTS)
def test_every_record_number_version_and_digest_comes_back(parts: CodeParts) -> None:
    text = code_text(parts)
    assert set(text) <= ALPHANUMERIC
    assert parse_code(text) == parts


@given(PARTS, PARTS)
def test_two_papers_never_share_a_code(one: CodeParts, other: CodeParts) -> None:
    assert (code_text(one) == code_text(other)) == (one == other)


def test_digest_is_written_in_base32() -> None:
    """RFC 4648, section 6, as Python's own base64 writes it, without the padding of section 3.2."""
    letters = base64.b32encode(hashlib.sha256(b"any data").digest()).decode().rstrip("=")
    assert code_text(CodeParts("DEMO-0002", 1, DIGEST)) == f"CONSENT:DEMO-0002:1:{letters}"
    assert "".join(short_code(DIGEST)) == letters[:8]


@pytest.mark.parametrize(
    ("record_number", "written"),
    [("AB_12/x", "AB+12/*X"), ("abC", "*AB*C"), ("a 1.b-C", "*A 1.B-*C"), ("0", "0"), ("A ", "A ")],
)
def test_small_letters_and_the_line_below_have_signs_of_their_own(record_number: str, written: str) -> None:
    """Worked out by hand."""
    text = code_text(CodeParts(record_number, 3, DIGEST))
    assert text.split(":")[1] == written
    assert parse_code(text).record_number == record_number


def test_typed_in_small_letters_with_a_space_around_it_is_the_same() -> None:
    parts = CodeParts("DEMO-0002", 1, DIGEST)
    assert parse_code(f"  {code_text(parts).lower()}\n") == parts


LETTERS = code_text(CodeParts("A", 1, DIGEST)).rpartition(":")[2]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "CONSENT",
        f"CONSENT:A:1:{LETTERS[:-1]}",
        f"CONSENT:A:1:{LETTERS}A",
        f"CONSENT:A:0:{LETTERS}",
        f"CONSENT:A:01:{LETTERS}",
        f"CONSENT:A:1:{LETTERS[:-1]}B",
        f"CONSENT:A:1:{LETTERS[:10]}1{LETTERS[11:]}",
        f"CONSENT::1:{LETTERS}",
        f"CONSENT:A**B:1:{LETTERS}",
        f"CONSENT:A*1:1:{LETTERS}",
        f"CONSENT: A:1:{LETTERS}",
        f"OTHER:A:1:{LETTERS}",
        f"CONSENT:A:1:{LETTERS} CONSENT:A:1:{LETTERS}",
        f"CONSENT:Ä:1:{LETTERS}",
        "https://example.org/",
    ],
)
def test_anything_else_is_refused_in_words(text: str) -> None:
    """Too short, too long, version 0, bits in the last letter that no digest sets, a sign of nothing."""
    with pytest.raises(PaperError, match="not a code of signed paper"):
        parse_code(text)


@given(st.text(max_size=80))
def test_no_text_makes_it_stumble(text: str) -> None:
    for parse in (parse_code, parse_short):
        try:
            parse(text)
        except PaperError as refused:
            assert refused.exit_code == 12


@given(st.binary(min_size=32, max_size=32).map(bytes.hex))
def test_short_code_is_the_beginning_of_the_digest(digest: str) -> None:
    """Eight letters of five bits are 40 bits, ten hexadecimal digits."""
    groups = short_code(digest)
    assert [len(group) for group in groups] == [4, 4]
    for typed in (" ".join(groups), "-".join(groups).lower(), "".join(groups)):
        assert parse_short(typed) == digest[:10]


@pytest.mark.parametrize("text", ["", "ABCD", "ABCD EFG1", "ABCD EFGH J", "ABCD:EFGH"])
def test_what_is_no_short_code_is_refused(text: str) -> None:
    with pytest.raises(PaperError, match="not the short code"):
        parse_short(text)


def test_usual_record_numbers_make_a_code_of_29_modules() -> None:
    """ISO/IEC 18004, table of capacities: version 3 at level L holds 77 alphanumeric characters, version 4 114."""
    sizes = {}
    for length in (13, 14, 40):
        code = page_code(CodeParts("9" * length, 1, DIGEST))
        (box,) = re.findall(r'viewBox="0 0 (\d+) \1"', code.svg)
        sizes[length] = int(box) - 2 * 4
    assert sizes == {13: 29, 14: 29, 40: 33}
    assert len(code_text(CodeParts("9" * 14, 1, DIGEST))) == 77
    assert segno.make_qr(code_text(CodeParts("9" * 14, 1, DIGEST)), error="l").version == 3


def test_a_sheet_without_a_code_is_as_it_was(sealed: Sealed) -> None:
    """Nothing of the code stands in it; with one, nothing else has changed."""
    for document in sealed.documents.values():
        plain = to_html(replace(document, code=None))
        for sign in ("pagecode", "CONSENT:", "keywords", "coded"):
            assert sign not in plain
        coded = to_html(document)
        head = re.compile(r'<header class="running-head">.*?</header>', re.DOTALL)
        added = re.compile(r'<meta name="keywords"[^>]*>\n| coded(?=")')
        assert head.sub("", added.sub("", coded)) == head.sub("", plain)


@pytest.fixture(scope="module")
def pages(sealed: Sealed, tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, int], Image.Image]:
    """The first page of each sealed paper as Poppler draws it at 150 and 200 dots to the inch."""
    folder: Path = tmp_path_factory.mktemp("scans")
    found = {}
    for name, pdf in sealed.signed.items():
        (folder / f"{name}.pdf").write_bytes(pdf)
        for dots in (150, 200):
            stem = folder / f"{name}.{dots}"
            drawn = [
                "pdftoppm",
                "-r",
                str(dots),
                "-gray",
                "-singlefile",
                "-png",
                str(folder / f"{name}.pdf"),
                str(stem),
            ]
            subprocess.run(drawn, check=True)
            with Image.open(f"{stem}.png") as picture:
                found[name, dots] = picture.convert("L")
    return found


def _read(picture: Image.Image) -> list[str]:
    return [code.text for code in zxingcpp.read_barcodes(picture)]


def test_code_is_read_off_every_scanned_page(sealed: Sealed, pages: dict[tuple[str, int], Image.Image]) -> None:
    for key, page in pages.items():
        assert _read(page) == [sealed.code], key


@pytest.mark.parametrize("degrees", [-7, 3, 90, 180])
def test_code_is_read_off_a_photograph(sealed: Sealed, pages: dict[tuple[str, int], Image.Image], degrees: int) -> None:
    """Turned, a little out of focus, and grey instead of white."""
    for (name, dots), page in pages.items():
        if dots == 200:
            turned = page.rotate(degrees, Image.Resampling.BICUBIC, expand=True, fillcolor=128)
            seen = turned.filter(ImageFilter.GaussianBlur(0.8)).point(lambda grey: 40 + grey * 170 // 255)
            assert _read(seen) == [sealed.code], (name, degrees)


def test_a_page_without_its_code_is_not_read(pages: dict[tuple[str, int], Image.Image]) -> None:
    """Otherwise the tests above could not fail."""
    page = pages["separate-choices", 200].copy()
    page.paste(255, (page.width - 400, 0, page.width, 220))
    assert _read(page) == []
