"""What a sealed paper proves by itself, and that no alteration of it passes."""

from __future__ import annotations

import base64
import dataclasses
import datetime as dt
import hashlib
import io
import json
import random
import re
import subprocess
from collections.abc import Callable
from pathlib import Path

import pikepdf
import pytest
from pyhanko.pdf_utils.generic import NumberObject
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.reader import PdfFileReader

from consent.errors import PaperError, RecordError
from consent.print import to_pdf
from consent.record import seal as sealing_room
from consent.record.awaiting import awaited
from consent.record.certificate import SigningCertificate
from consent.record.inspection import Inspected, inspect
from consent.record.seal import FIELD, data_archive, seal, sign
from consent.record.sealed_data import DATA_FILE
from tests.record.sealing import AT, NAME, REASON, Sealed

LATER = AT + dt.timedelta(days=1)
SEED = 20270222


def _look(sealed: Sealed, pdf: bytes, now: dt.datetime = LATER) -> Inspected:
    """As somebody who has the clinic's certificate."""
    return inspect(pdf, (sealed.certificate,), now)


def _found_out(sealed: Sealed, pdf: bytes) -> bool:
    """Whether the clinic's reader does not believe ``pdf``. Whatever but ``PaperError`` is raised fails the test."""
    try:
        return bool(_look(sealed, pdf).problems)
    except PaperError as refused:
        assert all(problem.what and problem.why and problem.remedy for problem in refused.problems)
        return True


def _room(pdf: bytes) -> tuple[int, int]:
    """Where the signature stands in the file, with its < and >, by the ranges the file names."""
    (ranges,) = re.findall(rb"/ByteRange \[(\d+) (\d+) (\d+) (\d+)\]", pdf)
    return int(ranges[1]), int(ranges[2])


def test_each_paper_is_as_it_was_signed(sealed: Sealed) -> None:
    """The digest is made again with pikepdf and hashlib."""
    for pdf in sealed.signed.values():
        with pikepdf.Pdf.open(io.BytesIO(pdf)) as opened:
            content = opened.attachments[DATA_FILE].get_file().read_bytes()
        found = _look(sealed, pdf)
        assert found.problems == ()
        assert found.code == hashlib.sha256(content).hexdigest()
        assert found.file == hashlib.sha256(pdf).hexdigest()
        assert dict(found.data) == json.loads(content)
        assert (found.known, found.expired, found.canonical) == (True, False, True)
        assert (found.at, found.reason, found.attachments) == (AT, REASON, (DATA_FILE,))
        assert found.signer == sealed.certificate


def test_papers_are_read_where_a_loop_already_runs(sealed: Sealed) -> None:
    """As in a server's own coroutine, or beside a browser that a test drives."""

    async def inside() -> list[bool]:
        return [_found_out(sealed, pdf) for pdf in sealed.signed.values()]

    assert not any(awaited(inside()))


def test_poppler_agrees_that_the_whole_document_is_signed(sealed: Sealed, tmp_path: Path) -> None:
    """pdfsig, which checks with NSS: a second reader of the signature."""
    path = tmp_path / "paper.pdf"
    path.write_bytes(sealed.one)
    done = subprocess.run(["pdfsig", "-nocert", str(path)], capture_output=True, text=True, check=False)
    assert "Signature Validation: Signature is Valid." in done.stdout
    assert "Total document signed" in done.stdout


def test_the_code_on_the_page_is_the_digest_of_the_data(sealed: Sealed, tmp_path: Path) -> None:
    """The short groups as Poppler reads them, on every page."""
    for name, pdf in sealed.signed.items():
        path = tmp_path / f"{name}.pdf"
        path.write_bytes(pdf)
        done = subprocess.run(["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True)
        letters = base64.b32encode(bytes.fromhex(_look(sealed, pdf).code)).decode()
        pages = done.stdout.split("\f")[:-1]
        assert pages
        for page in pages:
            assert {letters[:4], letters[4:8]} <= set(page.split()), name


def test_without_a_certificate_to_hold_it_against_nobody_is_vouched_for(sealed: Sealed) -> None:
    found = inspect(sealed.one, (), LATER)
    assert (found.problems, found.known) == ((), False)


@pytest.mark.parametrize("seed", range(4))
def test_a_file_cut_off_is_found(sealed: Sealed, seed: int) -> None:
    """At 200 places in all."""
    places = random.Random(SEED + seed).sample(range(len(sealed.one)), 50)
    assert [place for place in places if not _found_out(sealed, sealed.one[:place])] == []


@pytest.mark.parametrize("seed", range(4))
def test_a_thousand_bytes_altered_at_random_are_found(sealed: Sealed, seed: int) -> None:
    """One byte at a time, anywhere in the file, to any other value: the room of the signature is not left out."""
    chance = random.Random(SEED + seed)
    missed = []
    for _ in range(250):
        place, by = chance.randrange(len(sealed.one)), chance.randrange(1, 256)
        pdf = bytearray(sealed.one)
        pdf[place] ^= by
        if not _found_out(sealed, bytes(pdf)):
            missed.append((place, by))
    assert missed == []


def test_bytes_altered_in_the_room_of_the_signature_are_found(sealed: Sealed) -> None:
    """What lies there is not itself signed. Digits, letters turned small, and what fills it up."""
    start, end = _room(sealed.one)
    chance = random.Random(SEED)
    missed = []
    for number in range(200):
        place = chance.randrange(start, end)
        pdf = bytearray(sealed.one)
        pdf[place] ^= 0x20 if number % 2 and pdf[place] in b"ABCDEF" else chance.randrange(1, 128)
        if not _found_out(sealed, bytes(pdf)):
            missed.append((place, pdf[place]))
    assert missed == []


def test_another_spelling_of_the_issuer_in_the_signature_is_found(sealed: Sealed) -> None:
    """Names are compared without regard to capitals (RFC 5280, 7.1), so that a signature stays valid with either."""
    start, end = _room(sealed.one)
    raw = bytes.fromhex(sealed.one[start + 1 : end - 1].decode())
    after = raw.index(sealed.certificate.der) + len(sealed.certificate.der)
    place = raw.index(NAME[:7].encode(), after)
    other = raw[:place] + NAME[:7].upper().encode() + raw[place + 7 :]
    pdf = sealed.one[: start + 1] + other.hex().upper().encode() + sealed.one[end - 1 :]
    (problem,) = _look(sealed, pdf).problems
    assert "not in the form" in problem.what


def test_nothing_can_be_written_beside_the_signature(sealed: Sealed) -> None:
    """The room takes the signature as plain bytes, half as long, and other words after it: no signed byte is touched.

    A reader that counts the length alone, as pyHanko 0.38 does, takes the file for whole; Mladenov et al., "1 Trillion
    Dollar Refund" (ACM CCS 2019), call the family of attacks signature wrapping.
    """
    start, end = _room(sealed.one)
    raw = bytes.fromhex(sealed.one[start + 1 : end - 1].decode())
    plain = b"(" + re.sub(rb"([\\()])", rb"\\\1", raw).replace(b"\r", b"\\r") + b")"
    words = b" /Location (Signed by somebody else)"
    pdf = sealed.one[:start] + (plain + words).ljust(end - start) + sealed.one[end:]
    assert len(pdf) == len(sealed.one)
    (signature,) = PdfFileReader(io.BytesIO(pdf)).embedded_regular_signatures
    assert "somebody else" in signature.sig_object["/Location"]
    (problem,) = _look(sealed, pdf).problems
    assert "room of the signature" in problem.what


def test_a_signature_put_on_another_paper_is_found(sealed: Sealed) -> None:
    one, other = sealed.signed.values()
    (start, end), (from_, to) = _room(one), _room(other)
    assert end - start == to - from_
    pdf = one[:start] + other[from_:to] + one[end:]
    (problem,) = _look(sealed, pdf).problems
    assert "not the one that was signed" in problem.what


def test_a_page_swapped_in_from_another_paper_is_found(sealed: Sealed) -> None:
    one, other = sealed.signed.values()
    with pikepdf.Pdf.open(io.BytesIO(one)) as into, pikepdf.Pdf.open(io.BytesIO(other)) as of:
        del of.pages[0]["/Annots"]
        into.pages[0] = of.pages[0]
        written = io.BytesIO()
        into.save(written)
    assert _found_out(sealed, written.getvalue())


def _later_revision(pdf: bytes, change: Callable[[IncrementalPdfFileWriter], None]) -> bytes:
    """``pdf`` with a revision after it that does ``change``; not a byte of ``pdf`` is altered."""
    writer = IncrementalPdfFileWriter(io.BytesIO(pdf), strict=False)
    change(writer)
    written = io.BytesIO()
    writer.write(written)
    assert written.getvalue().startswith(pdf)
    return written.getvalue()


def _append_page(writer: IncrementalPdfFileWriter) -> None:
    from pyhanko.pdf_utils.writer import PageObject

    contents = writer.prev.root["/Pages"]["/Kids"][0]["/Contents"].get_object()
    writer.insert_page(PageObject(contents=writer.add_object(contents), media_box=(0, 0, 595, 842)))


def _turn_page(writer: IncrementalPdfFileWriter) -> None:
    page = writer.root["/Pages"]["/Kids"][0].get_object()
    page["/Rotate"] = NumberObject(180)
    writer.update_container(page)


@pytest.mark.parametrize("change", [_append_page, _turn_page, lambda writer: writer.update_root()])
def test_a_later_revision_is_found(sealed: Sealed, change: Callable[[IncrementalPdfFileWriter], None]) -> None:
    """Even one that changes nothing to be seen: the signature allows no change (ISO 32000-2, 12.8.2.2, level 1)."""
    (problem,) = _look(sealed, _later_revision(sealed.one, change)).problems
    assert problem.what == "something was added to the file after it was signed"


def test_bytes_after_the_end_are_found(sealed: Sealed) -> None:
    for added in (b"\n", b" ", b"\0" * 100, b"%%EOF\n", sealed.one):
        assert _found_out(sealed, sealed.one + added)


def test_a_second_signature_is_something_added(sealed: Sealed, monkeypatch: pytest.MonkeyPatch) -> None:
    """By whomever, and though the first one is whole."""
    monkeypatch.setattr(sealing_room, "FIELD", "Other")
    twice = sign(sealed.one, sealed.other, AT, REASON, NAME)
    assert len(PdfFileReader(io.BytesIO(twice)).embedded_signatures) == 2
    (problem,) = _look(sealed, twice).problems
    assert problem.what == "something was added to the file after it was signed"


def _reseal(sealed: Sealed, content: bytes, signing: SigningCertificate) -> bytes:
    """The smaller paper with other data inside, signed anew in all the clinic's names."""
    name = min(sealed.signed, key=lambda one: len(sealed.signed[one]))
    archive = data_archive(dataclasses.replace(sealed.data, content=content), AT)
    return sign(seal(sealed.documents[name], sealed.clinic.digits, archive), signing, AT, REASON, NAME)


def test_altered_and_signed_by_another_under_the_same_name_does_not_pass(sealed: Sealed) -> None:
    other_words = sealed.data.content.replace(b'"record_number":"', b'"record_number":"X')
    assert other_words != sealed.data.content
    forged = _reseal(sealed, other_words, sealed.other)
    found = _look(sealed, forged)
    assert not found.known
    (problem,) = found.problems
    assert "not of this clinic's certificate" in problem.what
    assert found.signer.subject == sealed.certificate.subject  # the name alone says nothing
    assert found.signer.fingerprint in problem.where != sealed.certificate.fingerprint
    unknown = inspect(forged, (), LATER)
    assert (unknown.known, unknown.problems) == (False, ())


def test_data_in_another_form_are_found(sealed: Sealed) -> None:
    """The same data, spaced: their digest is another, and RFC 8785 allows one form only."""
    found = _look(sealed, _reseal(sealed, json.dumps(json.loads(sealed.data.content)).encode(), sealed.signing))
    assert not found.canonical
    (problem,) = found.problems
    assert "not in the form in which they were sealed" in problem.what


def test_a_certificate_that_expired_since_takes_nothing_from_a_paper(sealed: Sealed) -> None:
    found = _look(sealed, sealed.one, AT + dt.timedelta(days=1000))
    assert (found.problems, found.expired) == ((), True)


@pytest.mark.parametrize("days", [-1, 731])
def test_a_signature_from_outside_the_time_of_its_certificate_proves_nothing(
    sealed: Sealed, monkeypatch: pytest.MonkeyPatch, days: int
) -> None:
    """This program refuses to make one; another would not."""
    name, unsigned = next(iter(sealed.unsigned.items()))
    at = AT + dt.timedelta(days=days)
    with pytest.raises(RecordError):
        sign(unsigned, sealed.signing, at, REASON, NAME)
    monkeypatch.setattr(sealing_room, "refuse_outside_validity", lambda certificate, at: None)
    (problem,) = _look(sealed, sign(unsigned, sealed.signing, at, REASON, NAME), AT + dt.timedelta(days=800)).problems
    assert problem.what == "the certificate was not valid at the time the signature names", name


def test_a_signature_from_the_future_proves_nothing(sealed: Sealed) -> None:
    (problem,) = _look(sealed, sealed.one, AT - dt.timedelta(days=2)).problems
    assert "has not come yet" in problem.what


def _locked(sealed: Sealed) -> bytes:
    with pikepdf.Pdf.open(io.BytesIO(sealed.one)) as opened:
        written = io.BytesIO()
        opened.save(written, encryption=pikepdf.Encryption(owner="x", user="y"))
    return written.getvalue()


def _without_data(sealed: Sealed) -> bytes:
    plain = to_pdf(next(iter(sealed.documents.values())), sealed.clinic.digits)
    return sign(plain, sealed.signing, AT, REASON, NAME)


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda sealed: b"", "not a PDF"),
        (lambda sealed: b"PK\x03\x04 a document of a word processor", "not a PDF"),
        (lambda sealed: random.Random(SEED).randbytes(5000), "not a PDF"),
        (lambda sealed: b"%PDF-1.7\n" + random.Random(SEED).randbytes(5000), "cannot be read"),
        (_locked, "locked with a password"),
        (lambda sealed: next(iter(sealed.unsigned.values())), "bears no signature"),
        (_without_data, "carries no data"),
    ],
)
def test_what_is_no_sealed_paper_is_said_in_words(sealed: Sealed, make: Callable[[Sealed], bytes], said: str) -> None:
    with pytest.raises(PaperError, match=said) as refused:
        _look(sealed, make(sealed))
    (problem,) = refused.value.problems
    assert problem.why
    assert problem.remedy


def test_the_field_is_the_only_one(sealed: Sealed) -> None:
    (signature,) = PdfFileReader(io.BytesIO(sealed.one)).embedded_signatures
    assert signature.field_name == FIELD
