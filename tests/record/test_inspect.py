"""What a paper proves: every way to alter, exchange, add to or re-sign one that was thought of is found, in words."""

from __future__ import annotations

import dataclasses
import datetime as dt
import io
import random
import re
import warnings
from collections import Counter
from collections.abc import Callable

import pikepdf
import pypdf
import pytest
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.signers import PdfSignatureMetadata, PdfSigner, sign_pdf

from consent.errors import PaperError
from consent.print import Archive, Attachment
from consent.record import seal as sealing_room
from consent.record.certificate import SigningCertificate, make_certificate, open_certificate
from consent.record.inspection import Inspected, inspect
from consent.record.seal import data_archive, seal, sign
from consent.record.sealed_data import DATA_FILE, SealedData
from tests.record.sealing import AT, NAME, PASSPHRASE, REASON, Sealed

NOW = AT + dt.timedelta(days=30)
SEED = 20270222
SMALL, LARGER = "separate-choices", "surgeon-review"


def _look(sealed: Sealed, pdf: bytes, now: dt.datetime = NOW) -> tuple[str, ...]:
    """What is said against ``pdf``; nothing where it holds."""
    try:
        return tuple(problem.what for problem in inspect(pdf, (sealed.certificate,), now).problems)
    except PaperError as refused:
        return tuple(problem.what for problem in refused.problems)


def _found(sealed: Sealed, pdf: bytes, words: str) -> None:
    said = _look(sealed, pdf)
    assert any(re.search(words, one) for one in said), said


def _signed_by(sealed: Sealed, unsigned: bytes, signing: SigningCertificate | None = None) -> bytes:
    return sign(unsigned, signing or sealed.signing, AT, REASON, NAME)


def test_paper_as_it_was_signed_holds(sealed: Sealed) -> None:
    for pdf in sealed.signed.values():
        found = inspect(pdf, (sealed.certificate,), NOW)
        assert found.problems == ()
        assert (found.known, found.expired, found.canonical) == (True, False, True)
        assert (found.at, found.reason, found.signer) == (AT, REASON, sealed.certificate)
        assert (found.code, found.attachments) == (sealed.data.digest, (DATA_FILE,))
        assert found.data["record_number"] == "DEMO-0001"


def test_without_the_certificate_of_the_clinic_nobody_is_vouched_for(sealed: Sealed) -> None:
    found = inspect(sealed.one, (), NOW)
    assert (found.known, found.problems) == (False, ())


def test_an_older_certificate_of_the_clinic_is_known_too(sealed: Sealed) -> None:
    found = inspect(sealed.one, (sealed.other.certificate, sealed.certificate), NOW)
    assert (found.known, found.problems) == (True, ())


def test_a_result_cannot_be_changed(sealed: Sealed) -> None:
    found: Inspected = inspect(sealed.one, (), NOW)
    with pytest.raises(dataclasses.FrozenInstanceError):
        found.known = True  # type: ignore[misc]


# Byte by byte


def test_a_thousand_single_bytes_altered_are_found(sealed: Sealed) -> None:
    """Seven hundred anywhere, three hundred in the room of the signature, which signs everything else: what stands
    there is held to the one form in which it is written, so that no byte of the file may be another."""
    chance, pdf = random.Random(SEED), sealed.one
    room = re.search(rb"/Contents <[0-9A-F]+>", pdf)
    assert room is not None
    places = [chance.randrange(len(pdf)) for _ in range(700)]
    places += [chance.randrange(room.start(), room.end()) for _ in range(300)]
    unseen, kinds = [], Counter[str]()
    for place in places:
        other = chance.choice([byte for byte in range(256) if byte != pdf[place]])
        said = _look(sealed, pdf[:place] + bytes([other]) + pdf[place + 1 :])
        kinds.update(said)
        if not said:
            unseen.append((place, pdf[place], other))
    assert unseen == []
    assert len(kinds) >= 3, "otherwise all were found by the same words, whatever they were"


def test_every_byte_of_the_signature_itself_counts(sealed: Sealed) -> None:
    """Hexadecimal digits that hold it, each altered to the next one; and all its capitals to small letters."""
    pdf = sealed.one
    room = re.search(rb"(?<=/Contents <)[0-9A-F]+(?=>)", pdf)
    assert room is not None
    end = room.start() + len(room.group().rstrip(b"0")) + 1
    unseen = []
    for place in range(room.start(), end, 23):
        digit = b"%X" % ((int(chr(pdf[place]), 16) + 1) % 16)
        if not _look(sealed, pdf[:place] + digit + pdf[place + 1 :]):
            unseen.append(place - room.start())
    assert unseen == []
    _found(sealed, pdf[: room.start()] + room.group().lower() + pdf[room.end() :], "room of the signature")


def test_nothing_hides_behind_the_signature(sealed: Sealed) -> None:
    """The room is larger than what it holds; the rest is zeros."""
    pdf = sealed.one
    (end,) = (found.start() for found in re.finditer(rb"0{40}>\n", pdf))
    _found(sealed, pdf[:end] + b"CAFE" + pdf[end + 4 :], "room of the signature")


def test_two_hundred_cuts_are_found(sealed: Sealed) -> None:
    chance = random.Random(SEED)
    for name, pdf in sealed.signed.items():
        for _ in range(100):
            assert _look(sealed, pdf[: chance.randrange(len(pdf))]), name


@pytest.mark.parametrize("added", [b"\n", b"%\n", b"\0" * 100, b"%%EOF\n", b"startxref\n0\n%%EOF\n"])
def test_bytes_after_the_end_are_found(sealed: Sealed, added: bytes) -> None:
    assert _look(sealed, sealed.one + added)


def test_bytes_before_the_beginning_are_found(sealed: Sealed) -> None:
    assert _look(sealed, b"\n" + sealed.one)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "not a PDF"),
        (b"PK\x03\x04 some other file", "not a PDF"),
        (b"%PDF-1.7\n", "cannot be read"),
        (b"%PDF-1.7\n" + b"<<" * 20_000, "cannot be read"),
        (b"%PDF-1.7\n" + bytes(random.Random(SEED).randbytes(20_000)), "cannot be read"),
        (b"%PDF-1.7\nxref\n0 1\ntrailer\n<</Root 1 0 R /Size 1>>\nstartxref\n9\n%%EOF\n", "cannot be read"),
    ],
)
def test_what_is_no_paper_is_said_to_be_none(sealed: Sealed, content: bytes, words: str) -> None:
    _found(sealed, content, words)


# Files written anew


def _rewritten(pdf: bytes, change: Callable[[pikepdf.Pdf], None], **how: object) -> bytes:
    out = io.BytesIO()
    with pikepdf.open(io.BytesIO(pdf)) as opened, warnings.catch_warnings():
        warnings.simplefilter("ignore", pikepdf.exceptions.PageCopyWarning)  # of the field of the signature
        change(opened)
        opened.save(out, **how)  # type: ignore[arg-type]
    return out.getvalue()


def test_a_page_from_another_sealed_paper_is_found(sealed: Sealed) -> None:
    """Of the same case, with the same code on it, each signed by the clinic."""

    def swap(pdf: pikepdf.Pdf) -> None:
        with pikepdf.open(io.BytesIO(sealed.signed[LARGER])) as other:
            pdf.pages[0] = other.pages[0]

    _found(sealed, _rewritten(sealed.signed[SMALL], swap), "not the one that was signed|added|cannot be read|missing")


def test_a_file_saved_again_without_a_change_is_found(sealed: Sealed) -> None:
    assert _look(sealed, _rewritten(sealed.one, lambda pdf: None))


def test_a_signature_moved_to_another_paper_is_found(sealed: Sealed) -> None:
    """What the signing wrote behind one paper, behind another, with the addresses in it put right."""
    small, larger = sealed.unsigned[SMALL], sealed.unsigned[LARGER]
    assert _look(sealed, larger + sealed.signed[SMALL][len(small) :])


def test_a_locked_file_is_told_from_others(sealed: Sealed) -> None:
    locked = _rewritten(sealed.one, lambda pdf: None, encryption=pikepdf.Encryption(owner="a", user="b"))
    _found(sealed, locked, "locked with a password")


def test_a_file_whose_signature_was_taken_out_bears_none(sealed: Sealed) -> None:
    def strip(pdf: pikepdf.Pdf) -> None:
        del pdf.Root.AcroForm
        del pdf.Root.Perms

    for pdf in (sealed.unsigned[SMALL], _rewritten(sealed.one, strip)):
        _found(sealed, pdf, "bears no signature")


# Added to, with the signed bytes as they were


def _added_to(pdf: bytes, change: Callable[[pypdf.PdfWriter], None]) -> bytes:
    writer = pypdf.PdfWriter(io.BytesIO(pdf), incremental=True)
    change(writer)
    out = io.BytesIO()
    writer.write(out)
    made = out.getvalue()
    assert made.startswith(pdf)
    assert len(made) > len(pdf)
    return made


def test_a_page_added_later_is_found(sealed: Sealed) -> None:
    made = _added_to(sealed.one, lambda writer: writer.add_blank_page(595, 842))
    assert len(pypdf.PdfReader(io.BytesIO(made)).pages) == 2
    _found(sealed, made, "added to the file after it was signed")


def test_a_page_exchanged_later_is_found(sealed: Sealed) -> None:
    def exchange(writer: pypdf.PdfWriter) -> None:
        other = pypdf.PdfReader(io.BytesIO(sealed.signed[LARGER])).pages[0]
        writer.pages[0].merge_page(other)

    _found(sealed, _added_to(sealed.one, exchange), "added to the file after it was signed")


def test_data_exchanged_later_are_found(sealed: Sealed) -> None:
    """What is taken out by its name would be the new file."""
    made = _added_to(sealed.one, lambda writer: writer.add_attachment(DATA_FILE, b'{"record_number":"ANOTHER"}'))
    _found(sealed, made, "added to the file after it was signed")


def test_a_second_signature_on_top_is_found(sealed: Sealed) -> None:
    """By the clinic's own certificate or another: what the surgeon signed had one."""
    with pytest.MonkeyPatch.context() as patched:  # pyHanko itself would not sign what allows no change
        patched.setattr(PdfSigner, "_enforce_certification_constraints", lambda *_: None)
        for signing in (sealed.signing, sealed.other):
            writer = IncrementalPdfFileWriter(io.BytesIO(sealed.one))
            signature = PdfSignatureMetadata(field_name="Another", md_algorithm="sha256")
            made = sign_pdf(writer, signature, sealing_room._signer(signing)).getvalue()
            assert made.startswith(sealed.one)
            _found(sealed, made, "added to the file after it was signed")


# Signed by somebody else


def _altered_data(sealed: Sealed) -> bytes:
    """The paper as a forger would make it: other data in it, whatever stands on the page."""
    content = sealed.data.content.replace(b"DEMO-0001", b"DEMO-0009")
    assert content != sealed.data.content
    archive = data_archive(SealedData(content, ""), AT)
    return seal(sealed.documents[SMALL], sealed.clinic.digits, archive)


def test_altered_and_signed_again_by_another_is_not_the_clinics(sealed: Sealed) -> None:
    forged = _signed_by(sealed, _altered_data(sealed), sealed.other)
    _found(sealed, forged, "not of this clinic's certificate")
    found = inspect(forged, (), NOW)
    assert not found.known
    assert found.code != sealed.data.digest


def test_a_certificate_that_bears_the_clinics_name_is_another_all_the_same(sealed: Sealed) -> None:
    made = open_certificate(make_certificate(sealed.clinic, AT, PASSPHRASE), PASSPHRASE, "forger.p12")
    assert made.certificate.subject == sealed.certificate.subject
    _found(sealed, _signed_by(sealed, sealed.unsigned[SMALL], made), "not of this clinic's certificate")


def test_the_clinics_certificate_with_the_key_of_another_does_not_pass(sealed: Sealed) -> None:
    """Everybody who has a paper has the certificate; the key nobody has."""
    mixed = SigningCertificate(sealed.certificate, sealed.other.key)
    _found(sealed, _signed_by(sealed, _altered_data(sealed), mixed), "not the one that was signed|cannot be read")


# Time


def _signed_at(sealed: Sealed, at: dt.datetime) -> bytes:
    """Signed with the clinic's key by somebody who does not ask whether the certificate is valid."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(sealing_room, "refuse_outside_validity", lambda *_: None)
        return sign(sealed.unsigned[SMALL], sealed.signing, at, REASON, NAME)


def test_a_certificate_that_has_expired_since_takes_nothing_from_the_paper(sealed: Sealed) -> None:
    later = sealed.certificate.valid_to + dt.timedelta(days=1)
    found = inspect(sealed.one, (sealed.certificate,), later)
    assert (found.problems, found.expired) == ((), True)


@pytest.mark.parametrize("days", [-2, 740])
def test_a_certificate_not_valid_when_it_signed_is_found(sealed: Sealed, days: int) -> None:
    pdf = _signed_at(sealed, AT + dt.timedelta(days=days))
    said = _look(sealed, pdf, NOW + dt.timedelta(days=800))
    assert any("not valid at the time" in one for one in said), said


def test_a_time_that_has_not_come_is_found(sealed: Sealed) -> None:
    said = _look(sealed, sealed.one, AT - dt.timedelta(days=2))
    assert any("has not come yet" in one for one in said), said


# What it carries


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b'{ "record_number": "DEMO-0001" }', "not in the form in which they were sealed"),
        (b'{"b":1,"a":2}', "not in the form in which they were sealed"),
        (b"[1,2]", "cannot be read"),
        (b"no JSON", "cannot be read"),
        (b'{"a":NaN}', "cannot be read"),
    ],
)
def test_data_in_another_form_are_found_under_a_good_signature_too(sealed: Sealed, content: bytes, words: str) -> None:
    archive = Archive((Attachment(DATA_FILE, content, "application/json", "data", "Source"),), AT)
    _found(sealed, _signed_by(sealed, seal(sealed.documents[SMALL], "latin", archive)), words)


def test_paper_that_carries_no_data_says_nothing(sealed: Sealed) -> None:
    from consent.print import to_pdf

    bare = to_pdf(sealed.documents[SMALL], archive=Archive((), AT))
    _found(sealed, _signed_by(sealed, bare), "carries no data")
