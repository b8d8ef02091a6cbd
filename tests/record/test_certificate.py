"""The clinic's certificate: what OpenSSL reads in it, and what is said of one that cannot be used."""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import re
import stat
import subprocess
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import BestAvailableEncryption, Encoding, pkcs12
from cryptography.x509.oid import NameOID

from consent.clinic import Clinic
from consent.errors import RecordError
from consent.record.certificate import (
    Certificate,
    make_certificate,
    open_certificate,
    pem,
    read_certificates,
    refuse_outside_validity,
)
from consent.record.keeping_certificate import keep_local_certificate
from consent.record.place import Record
from tests.record.sealing import AT, PASSPHRASE, Sealed

P256, P384 = ec.SECP256R1(), ec.SECP384R1()


def _usage(*allowed: str) -> x509.KeyUsage:
    names = (
        "digital_signature",
        "content_commitment",
        "key_encipherment",
        "data_encipherment",
        "key_agreement",
        "key_cert_sign",
        "crl_sign",
        "encipher_only",
        "decipher_only",
    )
    return x509.KeyUsage(**{name: name in allowed for name in names})


def _own(key: Any, usage: x509.KeyUsage | None, public: Any = None) -> x509.Certificate:
    """A certificate such as a clinic might bring: of ``key``, or by mistake of another."""
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "A clinic of its own (invented)")])
    start = dt.datetime(2026, 1, 1, tzinfo=dt.UTC)
    builder = x509.CertificateBuilder().subject_name(name).issuer_name(name).serial_number(1)
    builder = builder.public_key((public or key).public_key()).not_valid_before(start)
    builder = builder.not_valid_after(start + dt.timedelta(days=3000))
    return (builder.add_extension(usage, critical=True) if usage else builder).sign(key, SHA256())


def _pkcs12(key: Any, found: x509.Certificate | None) -> bytes:
    return pkcs12.serialize_key_and_certificates(b"x", key, found, None, BestAvailableEncryption(PASSPHRASE))


def _openssl(certificate: Certificate, folder: Path, *arguments: str) -> str:
    path = folder / "certificate.pem"
    path.write_bytes(pem(certificate))
    done = subprocess.run(
        ["openssl", "x509", "-in", str(path), "-noout", *arguments], capture_output=True, text=True, check=True
    )
    return done.stdout


def test_openssl_reads_what_it_may_do_and_whom_it_names(sealed: Sealed, tmp_path: Path) -> None:
    """RFC 5280, 4.2.1.3 and 4.2.1.9, in the words of OpenSSL; the curve is that of FIPS 186-5."""
    text = _openssl(sealed.certificate, tmp_path, "-text")
    assert re.search(r"Key Usage: critical\s+Digital Signature, Non Repudiation\n", text)
    assert re.search(r"Basic Constraints: critical\s+CA:FALSE", text)
    assert "NIST CURVE: P-256" in text
    assert "Signature Algorithm: ecdsa-with-SHA256" in text
    subject = _openssl(sealed.certificate, tmp_path, "-subject", "-nameopt", "RFC2253,utf8")
    assert "CN=Nodipar Eye Centre (invented)" in subject
    assert "Invented clinic\\; local certificate\\, made on this machine" in subject


def test_it_is_valid_for_two_years_from_that_day(sealed: Sealed, tmp_path: Path) -> None:
    """730 days from the midnight before it was made."""
    dates = _openssl(sealed.certificate, tmp_path, "-dates")
    assert dates.splitlines() == ["notBefore=Feb 22 00:00:00 2027 GMT", "notAfter=Feb 21 00:00:00 2029 GMT"]


def test_it_vouches_for_itself(sealed: Sealed, tmp_path: Path) -> None:
    path = tmp_path / "certificate.pem"
    path.write_bytes(pem(sealed.certificate))
    command = [
        "openssl",
        "verify",
        "-attime",
        str(int(AT.timestamp())),
        "-CAfile",
        str(path),
        "-check_ss_sig",
        str(path),
    ]
    assert subprocess.run(command, capture_output=True, text=True, check=True).stdout == f"{path}: OK\n"


def test_fingerprint_is_that_of_openssl(sealed: Sealed, tmp_path: Path) -> None:
    wanted = _openssl(sealed.certificate, tmp_path, "-fingerprint", "-sha256").strip().partition("=")[2]
    assert sealed.certificate.fingerprint.replace(" ", "") == wanted.replace(":", "")
    assert re.fullmatch(r"[0-9A-F]{4}( [0-9A-F]{4}){15}", sealed.certificate.fingerprint)


def _named(clinic: Clinic, name: str) -> str:
    real = clinic.model_copy(update={"invented": False, "name": name})
    made = open_certificate(make_certificate(real, AT, PASSPHRASE), PASSPHRASE, "x").certificate
    short, _, rest = made.subject.partition(", ")
    assert rest == "Local certificate, made on this machine"
    return short


@pytest.mark.parametrize(
    ("name", "written"),
    [
        ("Eye Hospital", "Eye Hospital"),
        ("x" * 64, "x" * 64),
        ("x" * 65, "x" * 64),
        ("Eye Hospital " * 6, " ".join(["Eye Hospital"] * 4 + ["Eye"])),
        ("চোখের হাসপাতাল ও গবেষণা কেন্দ্র", "চোখের হাসপাতাল ও গবেষণা"),
    ],
)
def test_a_real_clinic_is_not_called_invented_and_a_long_name_fits(clinic: Clinic, name: str, written: str) -> None:
    """X.520: a common name has at most 64 characters; here bytes, of which a Bengali letter has three."""
    assert _named(clinic, name) == written


def test_no_two_are_alike(sealed: Sealed) -> None:
    assert sealed.certificate.fingerprint != sealed.other.certificate.fingerprint


def test_key_does_not_show_when_it_is_printed(sealed: Sealed) -> None:
    assert "rivate" not in repr(sealed.signing)


def test_openssl_opens_the_file_with_its_passphrase_only(sealed: Sealed, tmp_path: Path) -> None:
    path = tmp_path / "certificate.p12"
    path.write_bytes(sealed.pkcs12)
    command = ["openssl", "pkcs12", "-in", str(path), "-noout", "-passin"]
    assert subprocess.run([*command, f"pass:{PASSPHRASE.decode()}"], capture_output=True, check=False).returncode == 0
    assert subprocess.run([*command, "pass:another"], capture_output=True, check=False).returncode != 0


@pytest.mark.parametrize(
    ("key", "usage"),
    [
        (ec.generate_private_key(P256), _usage("digital_signature")),
        (ec.generate_private_key(P384), _usage("content_commitment")),
        (rsa.generate_private_key(65537, 3072), None),
    ],
    ids=["P-256", "P-384", "RSA"],
)
def test_a_clinic_may_bring_its_own(key: Any, usage: x509.KeyUsage | None) -> None:
    """RFC 5280, 4.2.1.3: without the extension every use is allowed."""
    found = _own(key, usage)
    opened = open_certificate(_pkcs12(key, found), PASSPHRASE, "own.p12")
    assert opened.certificate.der == found.public_bytes(Encoding.DER)
    assert opened.certificate.subject == "A clinic of its own (invented)"


def _unusable() -> dict[str, tuple[bytes, bytes, str]]:
    key, other = ec.generate_private_key(P256), ec.generate_private_key(P256)
    good = _pkcs12(key, _own(key, None))
    certificate_only = _pkcs12(None, _own(key, None))
    return {
        "wrong passphrase": (good, b"another", "the passphrase does not open it"),
        "cut off": (good[:-40], PASSPHRASE, "damaged"),
        "not one": (b"-----BEGIN CERTIFICATE-----", PASSPHRASE, "not a PKCS#12 file"),
        "empty": (b"", PASSPHRASE, "not a PKCS#12 file"),
        "no key": (certificate_only, PASSPHRASE, "no private key"),
        "unfit": (_pkcs12(key, _own(key, _usage("key_agreement"))), PASSPHRASE, "key usage does not allow signing"),
        "of another key": (_mixed(key, other), PASSPHRASE, "no certificate"),
    }


def _mixed(key: Any, other: Any) -> bytes:
    """A key together with the certificate of another."""
    found = _own(other, None)
    return pkcs12.serialize_key_and_certificates(b"x", key, None, [found], BestAvailableEncryption(PASSPHRASE))


UNUSABLE = _unusable()


@pytest.mark.parametrize("why", UNUSABLE)
def test_one_that_cannot_sign_is_refused_in_words(why: str) -> None:
    content, passphrase, words = UNUSABLE[why]
    with pytest.raises(RecordError, match=words) as refused:
        open_certificate(content, passphrase, "brought.p12")
    (problem,) = refused.value.problems
    assert problem.where == "brought.p12"
    assert problem.remedy


def test_before_and_after_its_time_it_is_refused(sealed: Sealed) -> None:
    first, last = sealed.certificate.valid_from, sealed.certificate.valid_to
    second = dt.timedelta(seconds=1)
    for moment in (first, AT, last):
        refuse_outside_validity(sealed.certificate, moment)
    with pytest.raises(RecordError, match="not valid before 2027-02-22 00:00 UTC"):
        refuse_outside_validity(sealed.certificate, first - second)
    with pytest.raises(RecordError, match="expired on 2029-02-21 00:00 UTC"):
        refuse_outside_validity(sealed.certificate, last + second)


def test_certificates_are_read_in_either_form(sealed: Sealed) -> None:
    """RFC 7468 (PEM), also several in one file, and DER; what is none is refused."""
    one, other = sealed.certificate, sealed.other.certificate
    assert read_certificates(one.der, "c.cer") == (one,)
    assert read_certificates(pem(one) + pem(other), "c.pem") == (one, other)
    assert hashlib.sha256(one.der).hexdigest().upper() == one.fingerprint.replace(" ", "")
    for content in (b"", b"nothing", pem(one)[:200], sealed.pkcs12):
        with pytest.raises(RecordError, match="not a certificate"):
            read_certificates(content, "c.pem")


def test_a_new_certificate_outlives_a_power_cut_with_its_name(
    sqlite_record: Record, monkeypatch: pytest.MonkeyPatch
) -> None:
    """fsync(2): "does not necessarily ensure that the entry in the directory containing the file has also reached
    disk. For that an explicit fsync() on a file descriptor for the directory is also needed."""
    brought: list[tuple[bool, bool]] = []
    kept = os.fsync

    def look(handle: int) -> None:
        there = sqlite_record.place.certificate_file.exists()
        brought.append((stat.S_ISDIR(os.fstat(handle).st_mode), there))
        kept(handle)

    monkeypatch.setattr(os, "fsync", look)
    keep_local_certificate(sqlite_record)
    assert brought == [(False, True), (True, True)], "the file, then the folder that names it"
