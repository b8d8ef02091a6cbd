"""Does a signature belong to a file, byte for byte: the one question on which all else that a paper says rests."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from consent.errors import Problem

_ROOM = re.compile(rb"<([0-9A-F]+)>")


async def alterations(pdf: bytes, signature: Any) -> list[Problem]:
    """A problem for each way in which ``pdf`` is not what ``signature``, as pyHanko reads it, was made over.

    Signed is every byte but those of the signature itself (ISO 32000-2, 12.8.1); these are held to the one form in
    which they are written, so that there is no room in the file where anything could stand unseen.
    """
    from pyhanko.sign.validation import async_validate_pdf_signature
    from pyhanko.sign.validation.status import SignatureCoverageLevel
    from pyhanko_certvalidator import ValidationContext

    if problem := _loose_room(pdf, signature):
        return [problem]
    context = ValidationContext(
        trust_roots=[signature.signer_cert], allow_fetching=False, moment=signature.self_reported_timestamp
    )
    status = await async_validate_pdf_signature(signature, signer_validation_context=context)
    if not (status.intact and status.valid):
        return [altered("the file is not the one that was signed")]
    if status.coverage is not SignatureCoverageLevel.ENTIRE_FILE or not status.docmdp_ok:
        return [altered("something was added to the file after it was signed")]
    return list(_loose_form(signature))


def _loose_room(pdf: bytes, signature: Any) -> Problem | None:
    """Whether the signed range leaves out anything but the signature, in capitals, filled up with zeros."""
    from asn1crypto.parser import peek

    first, length, start, rest = (int(number) for number in signature.byte_range)
    if first != 0 or start + rest < len(pdf):
        return altered("something was added to the file after it was signed")
    if start + rest > len(pdf):
        return altered("the end of the file is missing")
    content: bytes = signature.pkcs7_content
    room = _ROOM.fullmatch(pdf[length:start])
    if room is None or bytes.fromhex(room[1].decode()) != content or content[peek(content) :].strip(b"\0"):
        return altered("something was written into the room of the signature")
    return None


def _loose_form(signature: Any) -> Iterator[Problem]:
    """What of the signature is not itself signed, held to how it is made (RFC 5652, 5.1 and 5.3)."""
    from asn1crypto import cms
    from asn1crypto.parser import peek

    content = signature.pkcs7_content[: peek(signature.pkcs7_content)]
    told = cms.ContentInfo.load(content, strict=True)
    signed, signer, certificate = told["content"], signature.signer_info, signature.signer_cert
    named = signer["sid"].chosen
    as_made = (
        (signed["version"].native, signer["version"].native) == ("v1", "v1"),
        [one.native for one in signed["digest_algorithms"]] == [signer["digest_algorithm"].native],
        not signer["unsigned_attrs"].native,
        named["issuer"].dump() == certificate.issuer.dump(),
        told.dump(force=True) == content,
    )
    if not all(as_made):
        yield altered("the signature is not in the form in which it was made")


def altered(what: str) -> Problem:
    """The problem of a paper that is no longer what was signed."""
    return Problem(
        what,
        "signature",
        "its words, figures or pages may not be those the surgeon signed",
        "do not rely on it; ask the clinic for the paper it keeps, and show it this one",
    )
