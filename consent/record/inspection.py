"""What a paper proves by itself: is it as it was signed, by whom, when, and what does it carry."""

from __future__ import annotations

import datetime as dt
import io
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from consent.errors import PaperError, Problem
from consent.record.canonical import canonical, digest
from consent.record.certificate import Certificate
from consent.record.seal import FIELD
from consent.record.sealed_data import DATA_FILE


@dataclass(frozen=True)
class Inspected:
    """A signed file and what it says. ``problems``: everything that keeps it from being believed; none if it holds.

    ``signer``, ``at`` and ``reason`` are what the signature says, whether or not it holds; ``code`` is the SHA-256 of
    the data inside, hexadecimal; ``known``: the certificate is one of those that were given.
    """

    file: str
    signer: Certificate
    at: dt.datetime | None
    reason: str
    known: bool
    code: str
    data: Mapping[str, Any] = field(repr=False)
    problems: tuple[Problem, ...] = ()


def inspect(pdf: bytes, clinic: tuple[Certificate, ...], now: dt.datetime) -> Inspected:
    """What the file ``pdf`` proves to somebody who knows the certificates of the ``clinic``, or none of them.

    Raises ``PaperError`` for a file that cannot be read or bears no signature: nothing can be said of it.
    """
    try:
        return _inspect(pdf, clinic, now)
    except PaperError:
        raise
    except Exception as failure:  # whatever a damaged file makes a reader stumble over, it says one thing
        raise _unreadable() from failure


def _inspect(pdf: bytes, clinic: tuple[Certificate, ...], now: dt.datetime) -> Inspected:
    import asyncio

    from pyhanko.pdf_utils.reader import PdfFileReader

    reader = PdfFileReader(io.BytesIO(pdf), strict=False)
    signatures = [one for one in reader.embedded_regular_signatures if one.field_name == FIELD]
    if len(signatures) != 1:
        raise _unsigned()
    signature = signatures[0]
    signer = Certificate(signature.signer_cert.dump())
    at = signature.self_reported_timestamp
    known = any(one.der == signer.der for one in clinic)
    problems = [*asyncio.run(_integrity(signature)), *_certificate(signer, at, known, clinic, now)]
    content = _attached(reader)
    data = _data(content)
    problems += _consistent(content, data)
    reason = str(signature.sig_object.get("/Reason", ""))
    return Inspected(digest(pdf), signer, at, reason, known, digest(content), data, tuple(problems))


async def _integrity(signature: Any) -> list[Problem]:
    """Whether signature and file belong together, every byte of it, and nothing was added later."""
    from asn1crypto.parser import peek
    from pyhanko.sign.validation import async_validate_pdf_signature
    from pyhanko.sign.validation.status import SignatureCoverageLevel
    from pyhanko_certvalidator import ValidationContext

    context = ValidationContext(
        trust_roots=[signature.signer_cert], allow_fetching=False, moment=signature.self_reported_timestamp
    )
    status = await async_validate_pdf_signature(signature, signer_validation_context=context)
    if not (status.intact and status.valid):
        return [_altered("the file is not the one that was signed")]
    if status.coverage is not SignatureCoverageLevel.ENTIRE_FILE:
        return [_altered("something was added to the file after it was signed")]
    if signature.pkcs7_content[peek(signature.pkcs7_content) :].strip(b"\0"):
        return [_altered("something was written into the room beside the signature")]
    return []


def _certificate(
    signer: Certificate, at: dt.datetime | None, known: bool, clinic: tuple[Certificate, ...], now: dt.datetime
) -> list[Problem]:
    problems = []
    if clinic and not known:
        problems.append(
            Problem(
                f"the signature is not of this clinic's certificate, but of {signer.subject}",
                f"fingerprint {signer.fingerprint}",
                "anybody can sign a file with a certificate of their own",
                "do not rely on this paper; ask the clinic for the one it keeps",
            )
        )
    if at is None or not signer.valid_at(at) or at > now + dt.timedelta(days=1):
        problems.append(
            Problem(
                "the certificate was not valid at the time the signature names",
                f"{at:%Y-%m-%d %H:%M} UTC" if at else "no time",
                "a signature made before or after its certificate's time proves nothing",
                "ask the clinic for the paper it keeps",
            )
        )
    return problems


def _attached(reader: Any) -> bytes:
    """The data file in the paper. ``PaperError`` where there is none."""
    names = reader.root["/Names"]["/EmbeddedFiles"]["/Names"]
    for place in range(1, len(names), 2):
        found = names[place]
        if str(found.get("/UF", found.get("/F"))) == DATA_FILE:
            content: bytes = found["/EF"]["/F"].data
            return content
    raise PaperError(
        Problem(
            "the paper carries no data", DATA_FILE, "what it was made from cannot be shown", "ask the clinic for it"
        )
    )


def _data(content: bytes) -> Mapping[str, Any]:
    data = json.loads(content)
    if not isinstance(data, dict):
        raise _unreadable()
    return data


def _consistent(content: bytes, data: Mapping[str, Any]) -> list[Problem]:
    """Whether the data are the canonical bytes of themselves, so that their digest can be made again."""
    if canonical(data) == content:
        return []
    return [_altered("the data inside are not in the form in which they were sealed")]


def _altered(what: str) -> Problem:
    return Problem(
        what,
        "signature",
        "its words, figures or pages may not be those the surgeon signed",
        "do not rely on it; ask the clinic for the paper it keeps, and show it this one",
    )


def _unreadable() -> PaperError:
    return PaperError(
        Problem(
            "this file cannot be read as a paper of this program",
            "file",
            "it is cut off, damaged, or something else",
            "fetch it again, or check the printed page by its code: consent verify --code",
        )
    )


def _unsigned() -> PaperError:
    return PaperError(
        Problem(
            "this file bears no signature of a clinic",
            "file",
            "a draft, or a print to file of the paper, or a paper whose signature was taken out: it proves nothing",
            "ask the clinic for the paper it keeps, or check the page by its code: consent verify --code",
        )
    )
