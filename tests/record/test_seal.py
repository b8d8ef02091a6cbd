"""Sealed paper: printed the same again, signed without a byte of it changing, and believed by readers not ours."""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pikepdf
import pypdf
import pytest
from asn1crypto import cms

from consent.clinic import Clinic
from consent.errors import RecordError
from consent.print import Archive, Attachment, to_pdf
from consent.record.certificate import make_certificate, open_certificate, pem
from consent.record.seal import data_archive, seal, sign
from consent.record.sealed_data import DATA_FILE
from tests.record.sealing import AT, NAME, PASSPHRASE, REASON, Sealed
from tests.render.reading import squeezed

PDFA, PDFUA = "{http://www.aiim.org/pdfa/ns/id/}", "{http://www.aiim.org/pdfua/ns/id/}"


def _range(pdf: bytes) -> tuple[int, int, int, int]:
    """ISO 32000-2, 12.8.1: the signed bytes, as two pairs of start and length, read without any library."""
    (found,) = re.findall(rb"/ByteRange \[(\d+) (\d+) (\d+) (\d+)\]", pdf)
    first, length, start, rest = (int(number) for number in found)
    return first, length, start, rest


def _signature(pdf: bytes) -> bytes:
    """The signature itself, DER, without the zeros that fill its room."""
    _, length, start, _ = _range(pdf)
    content = bytes.fromhex(pdf[length + 1 : start - 1].decode())
    size = 4 + int.from_bytes(content[2:4])
    assert content[:2] == b"\x30\x82"
    return content[:size]


def _signed_bytes(pdf: bytes) -> bytes:
    first, length, start, rest = _range(pdf)
    return pdf[first : first + length] + pdf[start : start + rest]


def test_another_process_prints_the_same_bytes(sealed: Sealed, tmp_path: Path) -> None:
    """The unsigned paper, in a process of its own and under another seed of the hashes of Python."""
    code = (
        "import sys; from pathlib import Path; from consent.clinic import read_clinic;"
        "from tests.record.sealing import make_sealed;"
        "made = make_sealed(read_clinic()).unsigned;"
        "[(Path(sys.argv[1]) / name).write_bytes(pdf) for name, pdf in made.items()]"
    )
    environment = {"PYTHONHASHSEED": "77", "HOME": str(tmp_path), "TZ": "America/New_York"}
    subprocess.run([sys.executable, "-c", code, str(tmp_path)], check=True, env=environment)
    for name, pdf in sealed.unsigned.items():
        assert (tmp_path / name).read_bytes() == pdf, name


def test_unsigned_paper_is_the_beginning_of_the_signed_one(sealed: Sealed) -> None:
    for name, pdf in sealed.signed.items():
        unsigned = sealed.unsigned[name]
        assert pdf.startswith(unsigned)
        assert len(unsigned) < len(pdf) < len(unsigned) + 12_000


def test_everything_but_the_signature_is_signed(sealed: Sealed) -> None:
    """ISO 32000-2, 12.8.1: from the first byte to the last, and between them the string of Contents alone."""
    for pdf in sealed.signed.values():
        first, length, start, rest = _range(pdf)
        assert (first, start + rest) == (0, len(pdf))
        assert re.fullmatch(rb"<[0-9A-Fa-f]+>", pdf[length:start])


def test_openssl_finds_the_signature_good(sealed: Sealed, tmp_path: Path) -> None:
    """RFC 5652, detached, over the signed bytes; and not over the same bytes with one changed."""
    for name, pdf in sealed.signed.items():
        content, signature, certificate = (tmp_path / f"{name}.{kind}" for kind in ("bin", "der", "pem"))
        content.write_bytes(_signed_bytes(pdf))
        signature.write_bytes(_signature(pdf))
        certificate.write_bytes(pem(sealed.certificate))
        command = ["openssl", "cms", "-verify", "-binary", "-inform", "DER", "-in", str(signature), "-content"]
        trust = [
            "-CAfile",
            str(certificate),
            "-purpose",
            "any",
            "-attime",
            str(int(AT.timestamp())),
            "-out",
            "/dev/null",
        ]
        assert subprocess.run([*command, str(content), *trust], capture_output=True, check=False).returncode == 0
        altered = bytearray(_signed_bytes(pdf))
        altered[len(altered) // 2] ^= 1
        content.write_bytes(altered)
        done = subprocess.run([*command, str(content), *trust], capture_output=True, text=True, check=False)
        assert done.returncode != 0
        assert "content verify error" in done.stderr


def test_poppler_finds_it_valid_and_whole(sealed: Sealed, tmp_path: Path) -> None:
    """pdfsig of Poppler, which reads signatures with NSS."""
    path = tmp_path / "signed.pdf"
    path.write_bytes(sealed.one)
    text = subprocess.run(["pdfsig", str(path)], capture_output=True, text=True, check=False).stdout
    assert "Signature Validation: Signature is Valid." in text
    assert "Total document signed" in text
    assert "Signature Type: ETSI.CAdES.detached" in text
    assert text.count("Signature #") == 1


def test_it_is_pades_baseline_b_b(sealed: Sealed) -> None:
    """ETSI EN 319 142-1, 6.3, table 1: subfilter, claimed time in M and not in the signature, the signing certificate
    (v2) and message digest signed, content type data, the certificate inside."""
    catalog = pypdf.PdfReader(io.BytesIO(sealed.one)).trailer["/Root"]
    (field,) = catalog["/AcroForm"]["/Fields"]
    value = field.get_object()["/V"]
    assert (value["/Filter"], value["/SubFilter"]) == ("/Adobe.PPKLite", "/ETSI.CAdES.detached")
    assert (value["/M"], value["/Name"], value["/Reason"]) == ("D:20270222060000Z", NAME, REASON)
    signed = cms.ContentInfo.load(_signature(sealed.one))["content"]
    (signer,) = signed["signer_infos"]
    attributes = {one["type"].native: one["values"] for one in signer["signed_attrs"]}
    assert attributes.keys() >= {"content_type", "message_digest", "signing_certificate_v2"}
    assert "signing_time" not in attributes
    assert attributes["content_type"][0].native == "data"
    assert attributes["message_digest"][0].native == hashlib.sha256(_signed_bytes(sealed.one)).digest()
    assert signer["digest_algorithm"]["algorithm"].native == "sha256"
    assert [one.chosen.dump() for one in signed["certificates"]] == [sealed.certificate.der]
    assert signed["encap_content_info"]["content"].native is None


def test_no_change_is_allowed_and_nothing_is_seen_of_it(sealed: Sealed) -> None:
    """ISO 32000-2, 12.8.2.2: DocMDP with permission 1; 12.5.2: a field without extent."""
    with pikepdf.open(io.BytesIO(sealed.one)) as pdf:
        reference = pdf.Root.Perms.DocMDP.Reference[0]
        assert (str(reference.TransformMethod), int(reference.TransformParams.P)) == ("/DocMDP", 1)
        (field,) = pdf.Root.AcroForm.Fields
        assert [float(side) for side in field.Rect] == [0, 0, 0, 0]


def test_data_come_out_as_they_went_in(sealed: Sealed) -> None:
    """By pikepdf, by pypdf, and by pdfdetach of Poppler."""
    for pdf in sealed.signed.values():
        with pikepdf.open(io.BytesIO(pdf)) as opened:
            assert opened.attachments[DATA_FILE].get_file().read_bytes() == sealed.data.content
            (associated,) = opened.Root.AF
            assert (str(associated.AFRelationship), str(associated.UF)) == ("/Source", DATA_FILE)
            assert str(associated.EF.F.Subtype) == "/application/json"
        assert pypdf.PdfReader(io.BytesIO(pdf)).attachments == {DATA_FILE: [sealed.data.content]}


def test_poppler_takes_the_data_out(sealed: Sealed, tmp_path: Path) -> None:
    (tmp_path / "signed.pdf").write_bytes(sealed.one)
    out = tmp_path / "data.json"
    command = ["pdfdetach", "-savefile", DATA_FILE, "-o", str(out), str(tmp_path / "signed.pdf")]
    subprocess.run(command, check=True, capture_output=True)
    assert hashlib.sha256(out.read_bytes()).hexdigest() == sealed.data.digest


def test_it_says_that_it_is_archival_and_tagged(sealed: Sealed) -> None:
    """ISO 19005-3, 6.6.4: part 3, conformance A, with the output intent of 6.2.3; ISO 14289-1, clause 5: part 1, its
    schema described as 6.6.2.3 of ISO 19005-3 asks. Said, not proven: no validator was run."""
    for pdf in sealed.signed.values():
        with pikepdf.open(io.BytesIO(pdf)) as opened:
            packet = opened.Root.Metadata.read_bytes()
            assert bool(opened.Root.MarkInfo.Marked)
            assert "/StructTreeRoot" in opened.Root
            assert str(opened.Root.OutputIntents[0].S) == "/GTS_PDFA1"
        tree = ElementTree.fromstring(packet)  # noqa: S314  our own print
        told = {key: value for element in tree.iter() for key, value in element.attrib.items()}
        assert (told[f"{PDFA}part"], told[f"{PDFA}conformance"], told[f"{PDFUA}part"]) == ("3", "A", "1")
        assert b"http://www.aiim.org/pdfua/ns/id/</pdfaSchema:namespaceURI>" in packet


def test_every_date_in_it_is_the_moment_it_was_made(sealed: Sealed) -> None:
    """Signing leaves them as they were; the same moment in another zone prints the same bytes."""
    with pikepdf.open(io.BytesIO(sealed.one)) as opened:
        dates = [str(opened.docinfo[name]) for name in ("/CreationDate", "/ModDate")]
        parameters = opened.Root.AF[0].EF.F.Params
        dates += [str(parameters[name]) for name in ("/CreationDate", "/ModDate")]
        packet = opened.Root.Metadata.read_bytes().decode()
    assert {date.rstrip("Z") for date in dates} == {"D:20270222060000"}
    assert re.findall(r"<xmp:(?:Create|Modify)Date>([^<]*)<", packet) == ["2027-02-22T06:00:00Z"] * 2
    india = AT.astimezone(dt.timezone(dt.timedelta(hours=5, minutes=30)))
    document = sealed.documents["separate-choices"]
    again = seal(document, sealed.clinic.digits, data_archive(sealed.data, india))
    assert again == sealed.unsigned["separate-choices"]


def test_what_is_written_can_still_be_read_and_the_code_is_named(sealed: Sealed, tmp_path: Path) -> None:
    """Text by Poppler: the words of the head are there, and the draft mark is not."""
    for name, pdf in sealed.signed.items():
        (tmp_path / f"{name}.pdf").write_bytes(pdf)
        command = ["pdftotext", "-raw", str(tmp_path / f"{name}.pdf"), "-"]
        text = squeezed(subprocess.run(command, capture_output=True, check=True).stdout.decode())
        signed_off = "Reviewed and signed off by Dr Asha Invented, registration INVENTED-0002, 22 February 2027 11:30"
        assert squeezed(signed_off) in text
        assert "DRAFT" not in text
        short = sealed.documents[name].code
        assert short is not None
        assert all(group in text for group in short.short)
        assert str(pypdf.PdfReader(io.BytesIO(pdf)).metadata["/Keywords"]) == sealed.code  # type: ignore[index]


def test_the_pages_are_as_many_as_of_the_draft(sealed: Sealed) -> None:
    for name, document in sealed.documents.items():
        draft = pypdf.PdfReader(io.BytesIO(to_pdf(replace(document, code=None))))
        assert len(pypdf.PdfReader(io.BytesIO(sealed.signed[name])).pages) == len(draft.pages)


def test_several_files_are_carried_each_as_what_it_is(sealed: Sealed) -> None:
    """ISO 32000-1, 7.9.6: a name tree is sorted by name."""
    files = (
        Attachment("b.ics", b"BEGIN:VCALENDAR", "text/calendar", "the drops", "Supplement"),
        Attachment("a.json", b"{}", "application/json", "the data", "Data"),
    )
    pdf = to_pdf(sealed.documents["separate-choices"], archive=Archive(files, AT))
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert [str(name) for name in opened.Root.Names.EmbeddedFiles.Names[::2]] == ["a.json", "b.ics"]
        told = [(str(one.UF), str(one.AFRelationship), str(one.EF.F.Subtype)) for one in opened.Root.AF]
    assert told == [("a.json", "/Data", "/application/json"), ("b.ics", "/Supplement", "/text/calendar")]


def test_a_time_without_a_zone_is_refused(sealed: Sealed) -> None:
    with pytest.raises(ValueError, match="time zone"):
        data_archive(sealed.data, AT.replace(tzinfo=None))


def test_paper_without_code_or_data_is_not_sealed(sealed: Sealed) -> None:
    document = sealed.documents["separate-choices"]
    for one, archive in (
        (replace(document, code=None), data_archive(sealed.data, AT)),
        (document, Archive((), AT)),
    ):
        with pytest.raises(ValueError, match="bears a code"):
            seal(one, "latin", archive)


@pytest.mark.parametrize("days", [-1, 731])
def test_nothing_is_signed_outside_the_time_of_the_certificate(sealed: Sealed, days: int) -> None:
    with pytest.raises(RecordError, match=r"not valid before|expired"):
        sign(sealed.unsigned["separate-choices"], sealed.signing, AT + dt.timedelta(days=days), REASON, NAME)


def test_names_in_other_scripts_stand_in_the_signature(sealed: Sealed, clinic: Clinic) -> None:
    signing = open_certificate(make_certificate(clinic, AT, PASSPHRASE), PASSPHRASE, "x")
    pdf = sign(sealed.unsigned["separate-choices"], signing, AT, "ডাক্তার দেখে সই করেছেন", "নদীপাড় চোখের ক্লিনিক")
    (field,) = pypdf.PdfReader(io.BytesIO(pdf)).trailer["/Root"]["/AcroForm"]["/Fields"]
    value = field.get_object()["/V"]
    assert (value["/Reason"], value["/Name"]) == ("ডাক্তার দেখে সই করেছেন", "নদীপাড় চোখের ক্লিনিক")


def test_two_signatures_over_one_paper_differ_in_what_follows_it_alone(sealed: Sealed) -> None:
    """Signed bytes never repeat: ECDSA draws a number (FIPS 186-5, 6.3), so a signed file is kept, not remade."""
    again = sign(sealed.unsigned["separate-choices"], sealed.signing, AT, REASON, NAME)
    assert again != sealed.signed["separate-choices"]
    assert len(again) == len(sealed.signed["separate-choices"])
