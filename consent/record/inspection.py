"""What a paper proves by itself: is it as it was signed, by whom, when, and what does it carry."""

from __future__ import annotations

import datetime as dt
import io
import json
import logging
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from consent.errors import PaperError, Problem
from consent.record.awaiting import awaited
from consent.record.canonical import canonical, digest
from consent.record.certificate import Certificate
from consent.record.intact import alterations, altered
from consent.record.seal import FIELD
from consent.record.sealed_data import DATA_FILE

_CLOCKS_APART = dt.timedelta(days=1)
"""By how much the clock of the clinic and of whoever looks may differ."""


@dataclass(frozen=True)
class Inspected:
    """A signed file and what it says. ``problems``: everything that keeps it from being believed; none if it holds.

    ``file``: SHA-256 of the file, hexadecimal. ``signer``, ``at`` and ``reason`` are what the signature says, whether
    or not it holds. ``known``: the certificate is one of those that were given; ``expired``: it was valid when it
    signed, and is no longer now, which takes nothing from the paper. ``code``: SHA-256 of the data inside, hexadecimal,
    as in the code on each page; ``canonical``: the data are written by RFC 8785. ``attachments``: names of the files
    inside.
    """

    file: str
    signer: Certificate
    at: dt.datetime | None
    reason: str
    known: bool
    expired: bool
    code: str
    canonical: bool
    attachments: tuple[str, ...]
    data: Mapping[str, Any] = field(repr=False)
    problems: tuple[Problem, ...] = ()


def inspect(pdf: bytes, clinic: tuple[Certificate, ...], now: dt.datetime) -> Inspected:
    """What the file ``pdf`` proves to somebody who knows the certificates of the ``clinic``, or none of them.

    Raises ``PaperError`` for a file that cannot be read or bears no signature: nothing can be said of it.
    """
    with _quiet():
        try:
            return _inspect(pdf, clinic, now)
        except PaperError:
            raise
        except Exception as failure:  # whatever a damaged file makes a reader stumble over, it says one thing
            raise _unreadable() from failure


def _inspect(pdf: bytes, clinic: tuple[Certificate, ...], now: dt.datetime) -> Inspected:
    from pyhanko.pdf_utils.reader import PdfFileReader

    if b"%PDF-" not in pdf[:1024]:  # where readers look for it; ISO 32000-1, 7.5.2
        raise _not_paper()
    reader = PdfFileReader(io.BytesIO(pdf), strict=False)
    if reader.encrypted:
        raise _locked()
    signature = _signature(reader)
    signer = Certificate(signature.signer_cert.dump())
    at = signature.self_reported_timestamp
    known = any(one.der == signer.der for one in clinic)
    attached = _attached(reader)
    content = _data_file(attached)
    data = _object(content)
    is_canonical = canonical(data) == content
    problems = [*awaited(alterations(pdf, signature)), *_whose(signer, known, clinic), *_when(signer, at, now)]
    if not is_canonical:
        problems.append(altered("the data inside are not in the form in which they were sealed"))
    return Inspected(
        file=digest(pdf),
        signer=signer,
        at=at,
        reason=str(signature.sig_object.get("/Reason", "")),
        known=known,
        expired=now > signer.valid_to,
        code=digest(content),
        canonical=is_canonical,
        attachments=tuple(attached),
        data=data,
        problems=tuple(problems),
    )


@contextmanager
def _quiet() -> Iterator[None]:
    """pyHanko logs each thing it stumbles over, with a traceback; here it is said once, in words."""
    logger = logging.getLogger("pyhanko")
    before = logger.level
    logger.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        logger.setLevel(before)


def _signature(reader: Any) -> Any:
    found = [one for one in reader.embedded_regular_signatures if one.field_name == FIELD]
    if len(found) != 1:
        raise _unsigned()
    return found[0]


def _whose(signer: Certificate, known: bool, clinic: tuple[Certificate, ...]) -> Iterator[Problem]:
    if clinic and not known:
        yield Problem(
            f"the signature is not of this clinic's certificate, but of one that names {signer.subject}",
            f"fingerprint {signer.fingerprint}",
            "anybody can sign a file with a certificate of their own, and write any name into it",
            "do not rely on this paper; ask the clinic for the one it keeps",
        )


def _when(signer: Certificate, at: dt.datetime | None, now: dt.datetime) -> Iterator[Problem]:
    if at is None:
        yield _at_no_time("the signature names no time", "certificate")
    elif at > now + _CLOCKS_APART:
        yield _at_no_time("the signature names a time that has not come yet", said(at))
    elif not signer.valid_at(at):
        yield _at_no_time("the certificate was not valid at the time the signature names", said(at))


def _at_no_time(what: str, where: str) -> Problem:
    return Problem(
        what,
        where,
        "a signature from outside the time of its certificate proves nothing",
        "look whether the clock of this machine is right, and ask the clinic for the paper it keeps",
    )


def said(moment: dt.datetime) -> str:
    """``moment`` as it is told to a person, to the minute, in UTC."""
    return f"{moment.astimezone(dt.UTC):%Y-%m-%d %H:%M} UTC"


def _attached(reader: Any) -> dict[str, Any]:
    """The files in the paper by name."""
    try:
        names = reader.root["/Names"]["/EmbeddedFiles"]["/Names"]
    except KeyError:
        return {}
    files = (names[place] for place in range(1, len(names), 2))
    return {str(one.get("/UF", one.get("/F"))): one for one in files}


def _data_file(attached: Mapping[str, Any]) -> bytes:
    """The data in the paper. ``PaperError`` where there are none."""
    if DATA_FILE not in attached:
        raise PaperError(
            Problem(
                "the paper carries no data", DATA_FILE, "what it was made from cannot be shown", "ask the clinic for it"
            )
        )
    content: bytes = attached[DATA_FILE]["/EF"]["/F"].data
    return content


def _object(content: bytes) -> Mapping[str, Any]:
    data = json.loads(content)
    if not isinstance(data, dict):
        raise _unreadable()
    return data


def _unreadable() -> PaperError:
    return PaperError(
        Problem(
            "this file cannot be read as a paper of this program",
            "file",
            "it is cut off, damaged, or something else",
            "fetch it again, or check the printed page by its code: consent verify --code",
        )
    )


def _not_paper() -> PaperError:
    return PaperError(
        Problem(
            "this is not a PDF",
            "file",
            "only a signed PDF, or a picture of a page with its code (PNG, JPEG), can be looked at",
            "name the signed PDF, or take a photograph of the page",
        )
    )


def _locked() -> PaperError:
    return PaperError(
        Problem(
            "this file is locked with a password",
            "file",
            "sealed paper never is: somebody wrote the file anew, and its signature does not hold for that",
            "ask for the file as the clinic gave it out",
        )
    )


def _unsigned() -> PaperError:
    return PaperError(
        Problem(
            "this file bears no signature of a clinic",
            "file",
            "a draft, a scan, a print to file, or a paper whose signature was taken out: it proves nothing",
            "ask the clinic for the paper it keeps, or check the page by its code: name a photograph of it (PNG, JPEG) "
            "or type the code after --code",
        )
    )
