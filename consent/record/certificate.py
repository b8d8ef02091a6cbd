"""The clinic's certificate: a local one made on this machine, or its own; and what of it a reader of paper needs."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

from consent.clinic import Clinic
from consent.errors import Problem, RecordError

if TYPE_CHECKING:
    from cryptography import x509

VALID_DAYS = 730
"""Two years: common practice for certificates that sign documents, no source."""
_LONGEST_NAME = 64
"""Bytes. X.520 bounds common name, organisation and unit by 64 characters (RFC 5280, appendix A.1); what writes them
here counts bytes, so that a name in Bengali is cut after about 20 letters."""
_LOCAL = "Local certificate, made on this machine"


@dataclass(frozen=True)
class Certificate:
    """A certificate without its key, as DER (RFC 5280)."""

    der: bytes = field(repr=False)

    @cached_property
    def _read(self) -> x509.Certificate:
        from cryptography import x509

        return x509.load_der_x509_certificate(self.der)

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the certificate, hexadecimal in capitals, in groups of four."""
        letters = hashlib.sha256(self.der).hexdigest().upper()
        return " ".join(letters[start : start + 4] for start in range(0, len(letters), 4))

    @property
    def subject(self) -> str:
        """Whom it names: common name, then organisation and unit where they say more."""
        from cryptography.x509.oid import NameOID

        kinds = (NameOID.COMMON_NAME, NameOID.ORGANIZATION_NAME, NameOID.ORGANIZATIONAL_UNIT_NAME)
        named = (str(part.value) for kind in kinds for part in self._read.subject.get_attributes_for_oid(kind))
        return ", ".join(dict.fromkeys(named)) or self._read.subject.rfc4514_string() or "nobody"

    @property
    def valid_from(self) -> dt.datetime:
        return self._read.not_valid_before_utc

    @property
    def valid_to(self) -> dt.datetime:
        return self._read.not_valid_after_utc

    def valid_at(self, moment: dt.datetime) -> bool:
        """Whether ``moment`` lies in its validity."""
        return self.valid_from <= moment <= self.valid_to

    @property
    def may_sign(self) -> bool:
        """Whether its key usage, where it has one, allows signatures (RFC 5280, 4.2.1.3)."""
        from cryptography import x509

        try:
            usage = self._read.extensions.get_extension_for_class(x509.KeyUsage).value
        except x509.ExtensionNotFound:
            return True
        return usage.digital_signature or usage.content_commitment


@dataclass(frozen=True)
class SigningCertificate:
    """A certificate with its private key, and the certificates of those who issued it."""

    certificate: Certificate
    key: Any = field(repr=False)
    chain: tuple[Certificate, ...] = ()


def make_certificate(clinic: Clinic, now: dt.datetime, passphrase: bytes) -> bytes:
    """A new self-signed certificate of ``clinic`` with its key, as PKCS#12 (RFC 7292) under ``passphrase``.

    ECDSA on P-256 (FIPS 186-5), valid from the beginning of the day of ``now`` for two years. It says that it was made
    on this machine; nobody outside the clinic vouches for it.
    """
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.hazmat.primitives.serialization import BestAvailableEncryption, pkcs12

    key = ec.generate_private_key(ec.SECP256R1())
    made = _self_signed(clinic, key, now.astimezone(dt.UTC).replace(hour=0, minute=0, second=0, microsecond=0))
    name = _short(clinic.name).encode()
    return pkcs12.serialize_key_and_certificates(name, key, made, None, BestAvailableEncryption(passphrase))


def _self_signed(clinic: Clinic, key: Any, start: dt.datetime) -> x509.Certificate:
    from cryptography import x509
    from cryptography.hazmat.primitives.hashes import SHA256

    name = _name(clinic)
    public = key.public_key()
    identifier = x509.SubjectKeyIdentifier.from_public_key(public)
    return (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(start)
        .not_valid_after(start + dt.timedelta(days=VALID_DAYS))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_signing_only(), critical=True)
        .add_extension(identifier, critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(identifier), critical=False)
        .sign(key, SHA256())
    )


def _name(clinic: Clinic) -> x509.Name:
    from cryptography import x509
    from cryptography.x509.oid import NameOID

    short = _short(clinic.name)
    unit = f"Invented clinic; {_LOCAL.lower()}" if clinic.invented else _LOCAL
    parts = (
        (NameOID.COMMON_NAME, short),
        (NameOID.ORGANIZATION_NAME, short),
        (NameOID.ORGANIZATIONAL_UNIT_NAME, unit),
    )
    return x509.Name([x509.NameAttribute(kind, text) for kind, text in parts])


def _short(name: str) -> str:
    """As many whole words of ``name`` as fit, or of a single long one as many letters."""
    if len(name.encode()) <= _LONGEST_NAME:
        return name
    fits = name.encode()[:_LONGEST_NAME].decode(errors="ignore")
    return fits.rpartition(" ")[0] or fits


def _signing_only() -> x509.KeyUsage:
    """digitalSignature and nonRepudiation, which is now called contentCommitment (RFC 5280, 4.2.1.3)."""
    from cryptography import x509

    return x509.KeyUsage(
        digital_signature=True,
        content_commitment=True,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=False,
        crl_sign=False,
        encipher_only=False,
        decipher_only=False,
    )


def open_certificate(content: bytes, passphrase: bytes, where: str) -> SigningCertificate:
    """The certificate and key in the PKCS#12 ``content`` of the file ``where``, a local one or the clinic's own.

    Raises ``RecordError`` for a wrong passphrase, a file that is none, a missing key or certificate, a key that does
    not belong to it, or a certificate that may not sign. Whether it is valid at a moment is asked when it signs.
    """
    from cryptography.hazmat.primitives.serialization import pkcs12

    try:
        key, found, others = pkcs12.load_key_and_certificates(content, passphrase)
    except ValueError as failure:
        if _is_pkcs12(content):
            what, remedy = "the passphrase does not open it, or the file is damaged", "enter its passphrase again"
        else:
            what, remedy = "this is not a PKCS#12 file (.p12, .pfx)", "export certificate and key together as PKCS#12"
        raise _unusable(what, where, remedy) from failure
    if key is None or found is None:
        lacks = "no certificate" if key is not None else "no private key"
        raise _unusable(f"there is {lacks} in it", where, "export certificate and key together as PKCS#12")
    if key.public_key() != found.public_key():
        raise _unusable("its key does not belong to its certificate", where, "export both again from one place")
    certificate = _plain(found)
    if not certificate.may_sign:
        remedy = "ask for a certificate with the key usage digital signature or non-repudiation"
        raise _unusable("its key usage does not allow signing", where, remedy)
    return SigningCertificate(certificate, key, tuple(_plain(other) for other in others))


def refuse_outside_validity(certificate: Certificate, at: dt.datetime, where: str = "certificate") -> None:
    """Raise ``RecordError`` where ``certificate`` is not valid at ``at``: not yet, or no longer."""
    if at < certificate.valid_from:
        day = f"{certificate.valid_from:%Y-%m-%d %H:%M} UTC"
        raise _unusable(f"it is not valid before {day}", where, "look whether the clock of this machine is right")
    if at > certificate.valid_to:
        day = f"{certificate.valid_to:%Y-%m-%d %H:%M} UTC"
        raise _unusable(
            f"it expired on {day}", where, "consent record certificate --new makes a new one; papers signed so far keep"
        )


def read_certificates(content: bytes, where: str) -> tuple[Certificate, ...]:
    """The certificates in ``content``, PEM (.pem, .crt) or DER (.cer). Raises ``RecordError`` where there are none."""
    from cryptography import x509

    try:
        if b"-----BEGIN CERTIFICATE-----" in content:
            return tuple(_plain(found) for found in x509.load_pem_x509_certificates(content))
        return (_plain(x509.load_der_x509_certificate(content)),)
    except ValueError as failure:
        raise _unusable(
            "this is not a certificate", where, "name a certificate in PEM or DER form (.pem, .crt, .cer)"
        ) from failure


def pem(certificate: Certificate) -> bytes:
    """``certificate`` as PEM (RFC 7468), to be given to whoever checks the clinic's papers."""
    from cryptography.hazmat.primitives.serialization import Encoding

    return certificate._read.public_bytes(Encoding.PEM)


def _plain(found: Any) -> Certificate:
    from cryptography.hazmat.primitives.serialization import Encoding

    certificate: x509.Certificate = getattr(found, "certificate", found)
    return Certificate(certificate.public_bytes(Encoding.DER))


def _is_pkcs12(content: bytes) -> bool:
    """Whether ``content`` begins as a PFX does: a sequence that begins with the version, 3 (RFC 7292, section 4)."""
    return content[:1] == b"\x30" and b"\x02\x01\x03" in content[:8]


def _unusable(what: str, where: str, remedy: str) -> RecordError:
    return RecordError(Problem(what, where, "no paper can be signed with it", remedy))


def issuers(signing: SigningCertificate) -> Iterator[Certificate]:
    """The signing certificate, then those of its issuers."""
    yield signing.certificate
    yield from signing.chain
