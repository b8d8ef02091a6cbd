"""Seals a paper: printed for keeping with its data in it, then signed by the clinic without a byte of it changing."""

from __future__ import annotations

import datetime as dt
import io
from typing import Any

from consent.compose import Document
from consent.errors import PrintError, Problem
from consent.print import Archive, Attachment, to_pdf
from consent.record.awaiting import awaited
from consent.record.certificate import SigningCertificate, issuers, refuse_outside_validity
from consent.record.sealed_data import DATA_FILE, SealedData

FIELD = "ClinicSeal"
_HASH = "sha256"
_REST_OF_SIGNATURE = 2048
"""Bytes kept free beside the certificates: the signature and its attributes take about 500."""


def data_archive(data: SealedData, made_at: dt.datetime) -> Archive:
    """What a sealed paper carries: the data it was made from."""
    words = "What this paper was made from: the case, the figures, their sources and the sign-off"
    return Archive((Attachment(DATA_FILE, data.content, "application/json", words, "Source"),), made_at)


def seal(document: Document, digits: str, archive: Archive) -> bytes:
    """``document`` printed for keeping, not yet signed; the same in one environment, byte for byte.

    Raises ``ValueError`` where it has no code or does not carry its data, ``PrintError`` where it would come out wrong.
    """
    if document.code is None or DATA_FILE not in {one.name for one in archive.attachments}:
        raise ValueError(f"{document.sheet}: sealed paper bears a code and carries its data")
    return to_pdf(document, digits, archive)


def sign(unsigned: bytes, signing: SigningCertificate, at: dt.datetime, reason: str, name: str) -> bytes:
    """``unsigned`` with an invisible signature after it: PAdES baseline B-B (ETSI EN 319 142-1), no change allowed.

    ``at`` is the claimed time; ``reason`` and ``name`` stand in the signature for every reader. Raises ``RecordError``
    where the certificate is not valid at ``at``.
    """
    refuse_outside_validity(signing.certificate, at)
    signed = awaited(_signed(unsigned, signing, at, reason, name))
    if not signed.startswith(unsigned):
        raise PrintError(Problem("the signature changed the paper", "seal", "it would no longer be what was reviewed"))
    return signed


async def _signed(unsigned: bytes, signing: SigningCertificate, at: dt.datetime, reason: str, name: str) -> bytes:
    from pyhanko.sign.fields import MDPPerm, SigFieldSpec, SigSeedSubFilter
    from pyhanko.sign.signers.cms_embedder import PdfCMSEmbedder, SigIOSetup, SigMDPSetup, SigObjSetup
    from pyhanko.sign.signers.pdf_byterange import SignatureObject

    writer = _appender(unsigned)
    steps = PdfCMSEmbedder(SigFieldSpec(FIELD)).write_cms(FIELD, writer)
    next(steps)
    placeholder = SignatureObject(
        timestamp=at,
        subfilter=SigSeedSubFilter.PADES,
        name=name,
        reason=reason,
        bytes_reserved=2 * (_REST_OF_SIGNATURE + sum(len(one.der) for one in issuers(signing))),
    )
    locked = SigMDPSetup(_HASH, certify=True, docmdp_perms=MDPPerm.NO_CHANGES)
    steps.send(SigObjSetup(placeholder, locked))
    prepared, output = steps.send(SigIOSetup(_HASH, in_place=True))
    cms = await _signer(signing).async_sign(prepared.document_digest, _HASH, use_pades=True)
    steps.send(cms)
    content: bytes = output.getvalue()
    return content


def _appender(unsigned: bytes) -> Any:
    """Writes after ``unsigned``, and leaves the dates and descriptions in it as they are."""
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

    class Appender(IncrementalPdfFileWriter):
        """Metadata belongs to the paper: it says when that was made, and by what."""

        def _update_meta(self) -> None:
            pass

    return Appender(io.BytesIO(unsigned))


def _signer(signing: SigningCertificate) -> Any:
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
    from pyhanko.keys import load_certs_from_pemder_data, load_private_key_from_pemder_data
    from pyhanko.sign.signers import SimpleSigner
    from pyhanko_certvalidator.registry import SimpleCertificateStore

    secret = signing.key.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
    certificate, *_ = load_certs_from_pemder_data(signing.certificate.der)
    store: Any = SimpleCertificateStore
    chain = store()
    for one in signing.chain:
        chain.register_multiple(load_certs_from_pemder_data(one.der))
    key = load_private_key_from_pemder_data(secret, passphrase=None)
    return SimpleSigner(signing_cert=certificate, signing_key=key, cert_registry=chain)
