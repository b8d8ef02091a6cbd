"""Pages go over a network by TLS or not at all; the certificate made for that names what browsers ask for.

X.509 and subjectAltName: RFC 5280, 4.2.1.6; names are looked for there alone: RFC 9525, 1.2.
"""

from __future__ import annotations

import ssl
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.x509 import DNSName, IPAddress, SubjectAlternativeName, load_pem_x509_certificate

from consent.clinic import Clinic
from consent.desk.serving import fingerprint, is_loopback, own_certificate, refuse_open_network
from consent.errors import UsageError
from consent.record.place import Place, make_record


@pytest.mark.parametrize(
    ("host", "alone"),
    [
        ("127.0.0.1", True),
        ("::1", True),
        ("localhost", True),
        ("0.0.0.0", False),  # noqa: S104  nothing is bound
        ("192.168.1.20", False),
        ("desk", False),
    ],
)
def test_who_can_reach_it(host: str, alone: bool) -> None:
    assert is_loopback(host) is alone
    if alone:
        refuse_open_network(host, None)
    else:
        with pytest.raises(UsageError, match="unencrypted"):
            refuse_open_network(host, None)


def test_the_certificate_names_each_name_and_its_key_is_the_owners_alone(tmp_path: Path) -> None:
    tls = own_certificate(tmp_path, ("desk.invented", "192.168.1.20"))
    certificate = load_pem_x509_certificate(tls.certificate.read_bytes())
    names = certificate.extensions.get_extension_for_class(SubjectAlternativeName).value
    assert names.get_values_for_type(DNSName) == ["desk.invented"]
    assert [str(one) for one in names.get_values_for_type(IPAddress)] == ["192.168.1.20"]
    assert stat.S_IMODE(tls.key.stat().st_mode) == 0o600
    assert fingerprint(tls).replace(":", "").lower() == certificate.fingerprint(SHA256()).hex()
    assert own_certificate(tmp_path, ("another",)) == tls
    assert load_pem_x509_certificate(tls.certificate.read_bytes()) == certificate


def test_the_command_serves_by_tls_and_refuses_without(tmp_path: Path, clinic: Clinic) -> None:
    import socket
    from urllib.request import urlopen

    make_record(Place(tmp_path / "record"), clinic).close()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [
        sys.executable,
        "-c",
        "from consent.commands.main import run; run()",
        "serve",
        "--record",
        str(tmp_path / "record"),
    ]
    everywhere = [*command, "--host", "0.0.0.0"]  # noqa: S104  what has to be refused
    refused = subprocess.run(everywhere, capture_output=True, text=True, check=False, timeout=60)
    assert refused.returncode == 2 and "--tls" in refused.stderr
    with subprocess.Popen(
        [*command, "--port", str(port), "--tls"], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    ) as running:
        try:
            pem = tmp_path / "record" / "desk.pem"
            for _ in range(200):
                try:
                    trusted = ssl.create_default_context(cafile=str(pem))
                    with urlopen(f"https://127.0.0.1:{port}/login", context=trusted, timeout=5) as answer:
                        assert answer.status == 200
                        assert answer.headers["strict-transport-security"] == "max-age=31536000"
                        break
                except OSError:
                    time.sleep(0.1)
            else:
                pytest.fail("the pages were not served")
        finally:
            running.terminate()
