"""Where the clinic's certificate is kept: beside the key of the record, under a passphrase made from it."""

from __future__ import annotations

import os
from pathlib import Path

from consent.errors import Problem, RecordError
from consent.record.certificate import SigningCertificate, make_certificate, open_certificate, refuse_outside_validity
from consent.record.faults import store_faults
from consent.record.place import Record


def keep_local_certificate(record: Record) -> str:
    """Make a local certificate for the clinic and keep it; return its fingerprint. Never writes over one."""
    content = make_certificate(record.clinic, record.clock(), record.key.passphrase)
    _keep(record.place.certificate_file, content)
    return read_own_certificate(record).certificate.fingerprint


def bring_certificate(record: Record, path: Path, passphrase: str) -> str:
    """Keep the clinic's own certificate from the PKCS#12 file ``path`` instead of the one before it, which stays beside
    it under the name of its fingerprint, so that papers signed with it are still known. Return the new fingerprint.

    Raises ``RecordError`` where it cannot sign now.
    """
    from cryptography.hazmat.primitives.serialization import BestAvailableEncryption, pkcs12

    with store_faults(str(path)):
        content = path.read_bytes()
    brought = open_certificate(content, passphrase.encode(), str(path))
    refuse_outside_validity(brought.certificate, record.clock(), str(path))
    key, found, others = pkcs12.load_key_and_certificates(content, passphrase.encode())
    under_ours = BestAvailableEncryption(record.key.passphrase)
    content = pkcs12.serialize_key_and_certificates(None, key, found, others, under_ours)  # type: ignore[arg-type]
    _set_aside(record)
    _keep(record.place.certificate_file, content)
    return brought.certificate.fingerprint


def read_own_certificate(record: Record) -> SigningCertificate:
    """The certificate the clinic signs with. Raises ``RecordError`` where there is none or it does not open."""
    path = record.place.certificate_file
    try:
        content = path.read_bytes()
    except OSError as failure:
        raise RecordError(
            Problem(
                f"the clinic's certificate cannot be read ({failure.strerror})",
                str(path),
                "no paper can be signed without it",
                "put it back from where it is kept, or make a new one: consent record certificate",
            )
        ) from failure
    return open_certificate(content, record.key.passphrase, str(path))


def known_certificates(record: Record) -> tuple[SigningCertificate, ...]:
    """The clinic's certificate and those it signed with before."""
    older = sorted(record.place.folder.glob("certificate.*.p12"))
    kept = (open_certificate(path.read_bytes(), record.key.passphrase, str(path)) for path in older)
    return (read_own_certificate(record), *kept)


def _set_aside(record: Record) -> None:
    path = record.place.certificate_file
    if path.exists():
        name = read_own_certificate(record).certificate.fingerprint.replace(" ", "").lower()
        path.rename(path.with_name(f"certificate.{name[:16]}.p12"))


def _keep(path: Path, content: bytes) -> None:
    with store_faults(str(path)):
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
