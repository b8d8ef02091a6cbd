"""Starts the pages: on this machine alone, or for the clinic's own network, and then only by TLS."""

from __future__ import annotations

import datetime as dt
import ipaddress
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from consent import logs
from consent.desk.near import is_loopback
from consent.desk.office import DeskSettings
from consent.errors import Problem, UsageError
from consent.record.place import Record

if TYPE_CHECKING:
    from cryptography.x509 import GeneralName

_VALID = dt.timedelta(days=825)


@dataclass(frozen=True)
class Tls:
    """Files of the certificate by which browsers know this machine, and of its key (PEM)."""

    certificate: Path
    key: Path


def own_certificate(folder: Path, names: tuple[str, ...]) -> Tls:
    """A certificate of this machine's own for ``names``, made in ``folder`` the first time.

    No browser knows it: each shows a warning once, and its fingerprint is to be compared. Delete the two files to have
    others made, such as for another address.
    """
    tls = Tls(folder / "desk.pem", folder / "desk.key")
    if not (tls.certificate.is_file() and tls.key.is_file()):
        _make(tls, names)
    return tls


def fingerprint(tls: Tls) -> str:
    """SHA-256 of the certificate, as browsers show it."""
    from cryptography.hazmat.primitives.hashes import SHA256
    from cryptography.x509 import load_pem_x509_certificate

    digest = load_pem_x509_certificate(tls.certificate.read_bytes()).fingerprint(SHA256())
    return ":".join(f"{byte:02X}" for byte in digest)


def _make(tls: Tls, names: tuple[str, ...]) -> None:
    from cryptography import x509
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.hazmat.primitives.hashes import SHA256

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, names[0])])
    now = dt.datetime.now(dt.UTC)
    builder = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - dt.timedelta(hours=1))
        .not_valid_after(now + _VALID)
        .add_extension(x509.SubjectAlternativeName([_named(one) for one in names]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
    )
    encoding, plain = serialization.Encoding.PEM, serialization.NoEncryption()
    pem = key.private_bytes(encoding, serialization.PrivateFormat.PKCS8, plain)
    with os.fdopen(os.open(tls.key, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
        file.write(pem)
    tls.certificate.write_bytes(builder.sign(key, SHA256()).public_bytes(encoding))


def _named(name: str) -> GeneralName:
    from cryptography import x509

    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def refuse_open_network(host: str, tls: Tls | None) -> None:
    """Raise ``UsageError`` where pages would go over a network that others can read."""
    if tls is None and not is_loopback(host):
        raise UsageError(
            Problem(
                f"{host} can be reached by others, and the pages would go there unencrypted",
                "--host",
                "passwords and patients' data could be read on the way",
                "add --tls, or serve on this machine alone",
            )
        )


def serve(record: Record, settings: DeskSettings, host: str, tls: Tls | None = None) -> None:
    """Serve the pages of ``record`` until somebody stops the program. Closes the record."""
    import uvicorn

    from consent.desk.app import make_app, served
    from consent.desk.patience import CONNECTIONS, Patient

    logs.begin()
    app = make_app(record, settings)
    uvicorn.run(
        served(app, settings),
        host=host,
        port=settings.port,
        ssl_certfile=str(tls.certificate) if tls else None,
        ssl_keyfile=str(tls.key) if tls else None,
        access_log=False,
        server_header=False,
        date_header=True,
        proxy_headers=False,
        log_config=None,
        timeout_keep_alive=30,
        limit_concurrency=CONNECTIONS,
        http=Patient,
    )
