"""More ways to make another paper out of a sealed one: saved anew, exchanged in a later revision, signed by half."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Callable

import pikepdf
import pypdf
import pytest

from consent.errors import PaperError
from consent.print import Archive, Attachment
from consent.record.certificate import SigningCertificate, make_certificate, open_certificate
from consent.record.inspection import inspect
from consent.record.seal import data_archive, seal, sign
from consent.record.sealed_data import DATA_FILE, SealedData
from tests.record.sealing import AT, NAME, PASSPHRASE, REASON, Sealed

SMALL, LARGER = "separate-choices", "surgeon-review"


def _look(sealed: Sealed, pdf: bytes) -> tuple[str, ...]:
    """What is said against ``pdf``; nothing where it holds."""
    try:
        return tuple(problem.what for problem in inspect(pdf, (sealed.certificate,), AT).problems)
    except PaperError as refused:
        return tuple(problem.what for problem in refused.problems)


def _found(sealed: Sealed, pdf: bytes, words: str) -> None:
    said = _look(sealed, pdf)
    assert any(re.search(words, one) for one in said), said


def _signed_by(sealed: Sealed, unsigned: bytes, signing: SigningCertificate) -> bytes:
    return sign(unsigned, signing, AT, REASON, NAME)


def _rewritten(pdf: bytes, change: Callable[[pikepdf.Pdf], None]) -> bytes:
    out = io.BytesIO()
    with pikepdf.open(io.BytesIO(pdf)) as opened, warnings.catch_warnings():
        warnings.simplefilter("ignore", pikepdf.PageCopyWarning)  # of the field of the signature
        change(opened)
        opened.save(out)
    return out.getvalue()


def _added_to(pdf: bytes, change: Callable[[pypdf.PdfWriter], object]) -> bytes:
    """``pdf`` with a revision after it, by pypdf."""
    writer = pypdf.PdfWriter(io.BytesIO(pdf), incremental=True)
    change(writer)
    out = io.BytesIO()
    writer.write(out)
    made = out.getvalue()
    assert made.startswith(pdf)
    assert len(made) > len(pdf)
    return made


def test_the_paper_they_are_made_of_holds(sealed: Sealed) -> None:
    assert [_look(sealed, pdf) for pdf in sealed.signed.values()] == [(), ()]


def test_an_older_certificate_of_the_clinic_is_known_too(sealed: Sealed) -> None:
    found = inspect(sealed.one, (sealed.other.certificate, sealed.certificate), AT)
    assert (found.known, found.problems) == (True, ())


def test_a_file_saved_again_without_a_change_is_found(sealed: Sealed) -> None:
    assert _look(sealed, _rewritten(sealed.one, lambda pdf: None))


def test_a_file_whose_signature_was_taken_out_bears_none(sealed: Sealed) -> None:
    def strip(pdf: pikepdf.Pdf) -> None:
        del pdf.Root.AcroForm
        del pdf.Root.Perms

    _found(sealed, _rewritten(sealed.one, strip), "bears no signature")


def test_bytes_before_the_beginning_are_found(sealed: Sealed) -> None:
    assert _look(sealed, b"\n" + sealed.one)


def test_what_signing_wrote_behind_one_paper_is_found_behind_another(sealed: Sealed) -> None:
    assert _look(sealed, sealed.unsigned[LARGER] + sealed.signed[SMALL][len(sealed.unsigned[SMALL]) :])


def test_a_page_added_later_is_found(sealed: Sealed) -> None:
    made = _added_to(sealed.one, lambda writer: writer.add_blank_page(595, 842))
    assert len(pypdf.PdfReader(io.BytesIO(made)).pages) == 2
    _found(sealed, made, "added to the file after it was signed")


def test_a_page_exchanged_later_is_found(sealed: Sealed) -> None:
    other = pypdf.PdfReader(io.BytesIO(sealed.signed[LARGER])).pages[0]
    made = _added_to(sealed.one, lambda writer: writer.pages[0].merge_page(other))
    _found(sealed, made, "added to the file after it was signed")


def test_data_exchanged_later_are_found(sealed: Sealed) -> None:
    """What is taken out by its name would be the new file."""
    made = _added_to(sealed.one, lambda writer: writer.add_attachment(DATA_FILE, b'{"record_number":"ANOTHER"}'))
    _found(sealed, made, "added to the file after it was signed")


def test_a_fresh_certificate_with_the_clinics_name_is_another(sealed: Sealed) -> None:
    made = open_certificate(make_certificate(sealed.clinic, AT, PASSPHRASE), PASSPHRASE, "forger.p12")
    assert made.certificate.subject == sealed.certificate.subject
    _found(sealed, _signed_by(sealed, sealed.unsigned[SMALL], made), "not of this clinic's certificate")


def test_the_clinics_certificate_with_the_key_of_another_does_not_pass(sealed: Sealed) -> None:
    """Everybody who has a paper has the certificate; the key nobody has."""
    content = sealed.data.content.replace(b"DEMO-0001", b"DEMO-0009")
    forged = seal(sealed.documents[SMALL], sealed.clinic.digits, data_archive(SealedData(content, ""), AT))
    mixed = SigningCertificate(sealed.certificate, sealed.other.key)
    _found(sealed, _signed_by(sealed, forged, mixed), "not the one that was signed")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b'{"b":1,"a":2}', "not in the form in which they were sealed"),
        (b"[1,2]", "cannot be read"),
        (b"no JSON", "cannot be read"),
        (b'{"a":NaN}', "cannot be read"),
        (b"\xff\xfe", "cannot be read"),
        (b"[" * 100_000, "cannot be read"),
    ],
)
def test_data_in_another_form_are_found_under_a_good_signature(sealed: Sealed, content: bytes, words: str) -> None:
    archive = Archive((Attachment(DATA_FILE, content, "application/json", "data", "Source"),), AT)
    _found(sealed, _signed_by(sealed, seal(sealed.documents[SMALL], "latin", archive), sealed.signing), words)


@pytest.mark.parametrize(
    "content",
    [
        b"%PDF-1.7\n",
        b"%PDF-1.7\n" + b"<<" * 20_000,
        b"%PDF-1.7\n" + b"[" * 50_000 + b"\nstartxref\n9\n%%EOF\n",
        b"%PDF-1.7\nxref\n0 1\n0000000000 65535 f\ntrailer\n<</Root 1 0 R /Size 1>>\nstartxref\n9\n%%EOF\n",
        b"%PDF-1.7\nxref\n0 0\ntrailer\n<</Size 0 /Prev 9>>\nstartxref\n9\n%%EOF\n",
    ],
)
def test_files_that_begin_as_paper_and_lead_nowhere_are_said_to_be_none(sealed: Sealed, content: bytes) -> None:
    """Nested without end, a table that points at nothing, a table that points at itself."""
    _found(sealed, content, "cannot be read")
