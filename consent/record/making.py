"""Makes the papers of one sign-off: composed with it, sealed with the data they rest on, signed by the clinic."""

from __future__ import annotations

import secrets
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from consent.compose import Document
from consent.compose.page_code import CodeParts, page_code, with_code
from consent.errors import MoveError, Problem
from consent.pack import Pack, compose_pack
from consent.record.canonical import digest
from consent.record.hindrances import hindrances
from consent.record.keeping_certificate import read_own_certificate
from consent.record.ledger import Person, read_head
from consent.record.moves import State
from consent.record.place import Record
from consent.record.seal import data_archive, sign
from consent.record.seal import seal as print_sealed
from consent.record.sealed_data import SealedData, sealed_data
from consent.record.state import AFTERCARE, CONSENT, CaseState, case_of
from consent.record.voiding import sheets_of
from consent.review import SignOff

_SALT_BYTES = 16


@dataclass(frozen=True)
class Made:
    """Signed files that belong together, the digest of the data they carry, and what the entry says of them."""

    code: str
    files: tuple[bytes, ...]
    described: Mapping[str, Any]


def look(record: Record, case: CaseState) -> Iterator[Problem]:
    """What stands in the way of the next sign-off of ``case``."""
    stage = AFTERCARE if case.state is State.DONE else CONSENT
    return hindrances(compose_pack(case.case, record.clinic, sheets=sheets_of(stage)), stage)


def make_papers(record: Record, person: Person, data: Mapping[str, Any], stage: str) -> Made:
    """The papers of ``stage`` for the case in ``data``, signed off by ``person`` now.

    Raises ``MoveError`` with all that stands in the way, ``PrintError`` where a sheet would come out wrong,
    ``RecordError`` where the clinic's certificate cannot sign.
    """
    signed_off = SignOff(person.name, person.registration or "", record.clock())
    pack = compose_pack(case_of(data), record.clinic, sheets=sheets_of(stage), signed_off=signed_off)
    if problems := list(hindrances(pack, stage)):
        raise MoveError(problems)
    rests_on = sealed_data(pack, secrets.token_hex(_SALT_BYTES), _anchor(record))
    printed = [(document, _signed(record, pack, document, rests_on)) for document in pack.documents]
    described = {
        "stage": stage,
        "version": pack.assessment.case.version,
        "code": rests_on.digest,
        "by": signed_off.by,
        "registration": signed_off.registration,
        "at": signed_off.at.isoformat(),
        "certificate": read_own_certificate(record).certificate.fingerprint,
        "papers": [_described(document, pdf) for document, pdf in printed],
    }
    return Made(rests_on.digest, tuple(pdf for _, pdf in printed), described)


def _anchor(record: Record) -> Mapping[str, Any]:
    """The end of the ledger, which every paper carries out of the house: an entry altered later is given away by it."""
    with record.store.reading() as connection:
        head = read_head(connection, record.key)
    return {"sequence": head.sequence, "hash": head.hash}


def _signed(record: Record, pack: Pack, document: Document, rests_on: SealedData) -> bytes:
    case, signed_off = pack.assessment.case, pack.assessment.signed_off
    if signed_off is None:
        raise ValueError("only what was signed off is sealed")
    code = page_code(CodeParts(case.patient.record_number, case.version, rests_on.digest))
    unsigned = print_sealed(with_code(document, code), record.clinic.digits, data_archive(rests_on, signed_off.at))
    reason = f"Reviewed and signed off by {signed_off.by}, registration {signed_off.registration}"
    return sign(unsigned, read_own_certificate(record), signed_off.at, reason, record.clinic.name)


def _described(document: Document, pdf: bytes) -> dict[str, Any]:
    from io import BytesIO

    from pikepdf import Pdf

    with Pdf.open(BytesIO(pdf)) as opened:
        pages = len(opened.pages)
    tags = [tag for tag, _ in document.languages]
    return {"sheet": document.sheet, "languages": tags, "pages": pages, "digest": digest(pdf)}
