"""Where the clinic's certificate is kept: beside the key of the record, under a passphrase made from it."""

from __future__ import annotations

import os
from pathlib import Path

from consent.errors import Problem, RecordError
from consent.record.canonical import digest
from consent.record.certificate import SigningCertificate, make_certificate, open_certificate, refuse_outside_validity
from consent.record.faults import store_faults
from consent.record.keys import keep_name
from consent.record.ledger import Person, append
from consent.record.moves import Role
from consent.record.place import Record

CERTIFICATE_SUBJECT, CHANGED = "certificate", "certificate-changed"
"""Subject and kind of the entry that says that the clinic signs with another certificate from now on."""


def keep_local_certificate(record: Record) -> str:
    """Make a local certificate for the clinic and keep it; return its fingerprint. Never writes over one."""
    content = make_certificate(record.clinic, record.clock(), record.key.passphrase)
    _keep(record.place.certificate_file, content)
    return read_own_certificate(record).certificate.fingerprint


def renew_local_certificate(record: Record, person: Person) -> str:
    """Make a new local certificate instead of the one before it, and return its fingerprint."""
    content = make_certificate(record.clinic, record.clock(), record.key.passphrase)
    fingerprint = open_certificate(content, record.key.passphrase, "new certificate").certificate.fingerprint
    _exchange(record, person, content, fingerprint)
    return fingerprint


def bring_certificate(record: Record, person: Person, path: Path, passphrase: str) -> str:
    """Keep the clinic's own certificate from the PKCS#12 file ``path`` instead of the one before it, and return its
    fingerprint.

    Raises ``RecordError`` where it cannot sign now.
    """
    from cryptography.hazmat.primitives.serialization import BestAvailableEncryption, pkcs12

    content = _read_brought(path)
    brought = open_certificate(content, passphrase.encode(), str(path))
    refuse_outside_validity(brought.certificate, record.clock(), str(path))
    key, found, others = pkcs12.load_key_and_certificates(content, passphrase.encode())
    under_ours = BestAvailableEncryption(record.key.passphrase)
    content = pkcs12.serialize_key_and_certificates(None, key, found, others, under_ours)  # type: ignore[arg-type]
    _exchange(record, person, content, brought.certificate.fingerprint)
    return brought.certificate.fingerprint


def _read_brought(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as failure:
        what = f"the certificate cannot be read ({failure.strerror or 'unknown reason'})"
        raise RecordError(Problem(what, str(path), remedy="name the clinic's PKCS#12 file")) from failure


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
                "put it back from where it is kept, or make a new one: consent record certificate --new",
            )
        ) from failure
    return open_certificate(content, record.key.passphrase, str(path))


def known_certificates(record: Record) -> tuple[SigningCertificate, ...]:
    """The clinic's certificate and those it signed with before."""
    older = sorted(record.place.folder.glob("certificate.*.p12"))
    kept = (open_certificate(path.read_bytes(), record.key.passphrase, str(path)) for path in older)
    return (read_own_certificate(record), *kept)


def _exchange(record: Record, person: Person, content: bytes, fingerprint: str) -> None:
    """Keep ``content`` as the certificate and record who did so; the one before it stays beside it under the name of
    its fingerprint, so that papers signed with it are still known."""
    with record.store.writing() as connection:
        body = {"fingerprint": fingerprint}
        append(connection, record.key, person, Role.LEAD, CHANGED, CERTIFICATE_SUBJECT, body, record.clock())
        _set_aside(record.place.certificate_file, record)
        _keep(record.place.certificate_file, content)


def _set_aside(path: Path, record: Record) -> None:
    if not path.exists():
        return
    with store_faults(str(path)):
        try:
            name = read_own_certificate(record).certificate.fingerprint.replace(" ", "").lower()
            path.rename(path.with_name(f"certificate.{name[:16]}.p12"))
        except RecordError:  # one that does not open is kept too, but nobody is known by it
            path.rename(path.with_name(f"certificate.{digest(path.read_bytes())[:16]}.damaged"))


def _keep(path: Path, content: bytes) -> None:
    with store_faults(str(path)):
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        keep_name(path.parent)
