"""Keys: a master key in a file of its own, two per patient that can be destroyed, a stamp that cannot be forged."""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
import zlib
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from pathlib import Path

from consent.errors import Problem, RecordError

KEY_BYTES, _NONCE = 32, 12
"""AES-256 (FIPS 197) in Galois/Counter Mode with the 96-bit nonce of NIST SP 800-38D, 8.2.2."""


class Purpose(StrEnum):
    """What a patient's key opens: who it is, with the papers; or what was found and done."""

    IDENTITY = "identity"
    CONTENT = "content"


@dataclass(frozen=True)
class MasterKey:
    """The key that wraps all others. It never lies in the store."""

    secret: bytes

    @cached_property
    def _wrapping(self) -> bytes:
        return self._derived(b"wrap")

    @cached_property
    def _stamping(self) -> bytes:
        return self._derived(b"stamp")

    @cached_property
    def passphrase(self) -> bytes:
        """For files that lie beside the key, such as the clinic's certificate."""
        return self._derived(b"passphrase").hex().encode()

    def _derived(self, purpose: bytes) -> bytes:
        from cryptography.hazmat.primitives.hashes import SHA256
        from cryptography.hazmat.primitives.kdf.hkdf import HKDF

        return HKDF(SHA256(), KEY_BYTES, salt=None, info=b"consent record 1 " + purpose).derive(self.secret)

    def wrap(self, key: bytes, subject: str, purpose: Purpose) -> bytes:
        """``key`` encrypted, so that it opens only as the key of ``subject`` for ``purpose``."""
        return encrypt(self._wrapping, key, f"{subject} {purpose}", compress=False)

    def unwrap(self, wrapped: bytes, subject: str, purpose: Purpose) -> bytes:
        """The key again. Raises ``RecordError`` where it was altered or belongs to somebody else."""
        return decrypt(self._wrapping, wrapped, f"{subject} {purpose}", compressed=False)

    def stamp(self, *parts: str) -> str:
        """HMAC-SHA-256 (RFC 2104) over ``parts``, hexadecimal; only who has the key can make it."""
        message = "\x1f".join(parts).encode()
        return hmac.new(self._stamping, message, hashlib.sha256).hexdigest()

    def stamped(self, stamp: str, *parts: str) -> bool:
        """Whether ``stamp`` is that of ``parts``, in constant time."""
        return hmac.compare_digest(stamp.encode(), self.stamp(*parts).encode())


def new_key() -> bytes:
    """A fresh key, 32 random bytes."""
    return secrets.token_bytes(KEY_BYTES)


def encrypt(key: bytes, plain: bytes, about: str, compress: bool = True) -> bytes:
    """Nonce, then ``plain`` encrypted and authenticated together with ``about``."""
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM

    nonce = secrets.token_bytes(_NONCE)
    return nonce + AESGCM(key).encrypt(nonce, zlib.compress(plain) if compress else plain, about.encode())


def decrypt(key: bytes, sealed: bytes, about: str, compressed: bool = True) -> bytes:
    """What ``encrypt`` was given. Raises ``RecordError`` where a byte was altered or ``about`` is another."""
    from cryptography.exceptions import InvalidTag
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM

    try:
        plain = AESGCM(key).decrypt(sealed[:_NONCE], sealed[_NONCE:], about.encode())
        return zlib.decompress(plain) if compressed else plain
    except (InvalidTag, ValueError, zlib.error) as failure:
        raise RecordError(
            Problem(
                "what is kept encrypted cannot be opened",
                about,
                "it was altered, or it was encrypted under another key",
                "consent record check names every place; restore the last backup beside this record and compare",
            )
        ) from failure


def make_master_key(path: Path) -> MasterKey:
    """A fresh master key in the new file ``path``, readable by its owner only. Never writes over one."""
    key = MasterKey(new_key())
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(key.secret.hex() + "\n")
            file.flush()
            os.fsync(file.fileno())
        keep_name(path.parent)
    except BaseException:
        path.unlink()
        raise
    return key


def keep_name(folder: Path) -> None:
    """Bring the names in ``folder`` to the disk too: a file outlives a power cut only with its name (fsync(2))."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def read_master_key(path: Path) -> MasterKey:
    """The master key in ``path``. Raises ``RecordError`` where it is missing, open to others, or not a key."""
    try:
        text = path.read_text(encoding="ascii").strip()
        others = path.stat().st_mode & 0o077
    except (OSError, UnicodeDecodeError) as failure:
        raise _no_key(path, "the key of the record cannot be read") from failure
    if others:
        raise RecordError(
            Problem(
                "the key of the record can be read by others on this machine",
                str(path),
                "whoever has it can read every patient's record and forge the stamp of the ledger",
                f"chmod 600 {path}",
            )
        )
    try:
        secret = bytes.fromhex(text)
    except ValueError:
        secret = b""
    if len(secret) != KEY_BYTES:
        raise _no_key(path, f"the key of the record is not {2 * KEY_BYTES} hexadecimal digits")
    return MasterKey(secret)


def _no_key(path: Path, what: str) -> RecordError:
    remedy = "put the key file back from where it is kept, or restore the last backup, which holds it"
    return RecordError(Problem(what, str(path), "nothing personal in the record can be opened without it", remedy))
