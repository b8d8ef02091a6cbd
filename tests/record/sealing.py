"""Sealed paper to try things on: an invented case, signed off, printed, and signed with a certificate made for it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from consent.clinic import Clinic
from consent.compose import Document
from consent.compose.page_code import CodeParts, page_code, with_code
from consent.pack import Pack, compose_pack
from consent.record.certificate import Certificate, SigningCertificate, make_certificate, open_certificate
from consent.record.seal import data_archive, seal, sign
from consent.record.sealed_data import SealedData, sealed_data
from consent.review import SignOff
from tests.conftest import shipped_case

AT = dt.datetime(2027, 2, 22, 6, 0, tzinfo=dt.UTC)
"""When it was signed off: half past eleven in India."""
SALT, LEDGER = "5a" * 16, {"sequence": 7, "hash": "ab" * 32}
PASSPHRASE = b"a passphrase for the tests"
SIGNED_OFF = SignOff("Dr Asha Invented", "INVENTED-0002", AT)
REASON, NAME = "Reviewed and signed off by Dr Asha Invented", "Nodipar Eye Centre (invented)"


@dataclass(frozen=True)
class Sealed:
    """Two papers of one case, each before it was signed and after; the data in them; the certificate, and another."""

    clinic: Clinic
    pack: Pack
    data: SealedData
    code: str
    documents: Mapping[str, Document]
    unsigned: Mapping[str, bytes]
    signed: Mapping[str, bytes]
    pkcs12: bytes
    signing: SigningCertificate
    other: SigningCertificate

    @property
    def certificate(self) -> Certificate:
        return self.signing.certificate

    @cached_property
    def one(self) -> bytes:
        """The smaller of the signed papers, a page."""
        return min(self.signed.values(), key=len)


SHEETS = ("separate-choices", "surgeon-review")


def make_sealed(clinic: Clinic) -> Sealed:
    """The papers, made anew; the certificates are fresh each time."""
    pack = compose_pack(shipped_case("ordinary"), clinic, ("en",), SHEETS, signed_off=SIGNED_OFF)
    data = sealed_data(pack, SALT, LEDGER)
    case = pack.assessment.case
    code = page_code(CodeParts(case.patient.record_number, case.version, data.digest))
    documents = {document.sheet: with_code(document, code) for document in pack.documents}
    archive = data_archive(data, AT)
    unsigned = {name: seal(document, clinic.digits, archive) for name, document in documents.items()}
    pkcs12, others = (make_certificate(clinic, AT, PASSPHRASE) for _ in range(2))
    signing, other = (open_certificate(content, PASSPHRASE, "test.p12") for content in (pkcs12, others))
    signed = {name: sign(pdf, signing, AT, REASON, NAME) for name, pdf in unsigned.items()}
    return Sealed(clinic, pack, data, code.text, documents, unsigned, signed, pkcs12, signing, other)
