"""``consent verify``: is this paper the one that was signed, unchanged, by whom, and does it still hold."""

from __future__ import annotations

import argparse
import datetime as dt
import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from consent.commands import out
from consent.commands.settings import RECORD_VARIABLE, find_record, record_place
from consent.errors import PaperError, Problem, UsageError

if TYPE_CHECKING:
    from consent.record.certificate import Certificate
    from consent.record.inspection import Inspected
    from consent.record.papers import Found
    from consent.record.place import Record

_BAD = "DO NOT RELY ON IT"
_HOLDS = "it holds: unchanged, signed by this clinic, and the version that is valid now"
_CODE_HOLDS = "its code is of a version that is valid now"
_CLINIC_SIGNED = "unchanged, and signed by the clinic; whether it is the version that is valid now is not known here"
_SOMEBODY_SIGNED = (
    "unchanged since it was signed; whether the clinic signed it, and whether it is valid now, is not known"
)
_NO_RECORD = "nothing can be said of a printed page without the record"


@dataclass(frozen=True)
class Answer:
    """What is known of one paper: the verdict, plain sentences, every reason not to rely on it, and all for JSON."""

    paper: str
    verdict: str
    says: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()
    more: dict[str, Any] = field(default_factory=dict)


def run(options: argparse.Namespace) -> None:
    """Print what is known of each paper; ``PaperError`` at the end naming every reason not to rely on one."""
    if not options.files and not options.code:
        raise UsageError(Problem("nothing to look at", "consent verify", remedy="name a file, or give --code"))
    with _record(options) as record:
        certificates = _certificates(record, options)
        answers = [_file(Path(name), record, certificates) for name in options.files]
        answers += [_code(text, text, record) for text in options.code]
    if options.json:
        out.as_json([_as_data(answer) for answer in answers])
    else:
        for answer in answers:
            _print(answer, options.data)
    if problems := [problem for answer in answers for problem in answer.problems]:
        raise PaperError(problems)


def now() -> dt.datetime:
    """The moment at which is looked."""
    return dt.datetime.now(dt.UTC)


@contextmanager
def _record(options: argparse.Namespace) -> Iterator[Record | None]:
    asked = options.record or os.environ.get(RECORD_VARIABLE)
    if options.offline or not (asked or record_place(None).key_file.is_file()):
        yield None
        return
    record = find_record(options.record, options.clinic)
    try:
        yield record
    finally:
        record.close()


def _certificates(record: Record | None, options: argparse.Namespace) -> tuple[Certificate, ...]:
    from consent.record.certificate import read_certificates

    if options.certificate:
        return read_certificates(_content(Path(options.certificate)), options.certificate)
    if record is None:
        return ()
    from consent.record.keeping_certificate import known_certificates

    return tuple(one.certificate for one in known_certificates(record))


def _content(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as failure:
        raise UsageError(Problem(f"the file cannot be read ({failure.strerror})", str(path))) from failure


def _file(path: Path, record: Record | None, certificates: tuple[Certificate, ...]) -> Answer:
    from consent.record.inspection import inspect
    from consent.record.photograph import is_picture, read_page_code

    content, where = _content(path), str(path)
    try:
        if is_picture(content):
            return _code(read_page_code(content, where), where, record)
        return _sealed(where, inspect(content, certificates, now()), record)
    except PaperError as failure:
        return _answer(where, _BAD, (), failure.problems)


def _sealed(where: str, found: Inspected, record: Record | None) -> Answer:
    from consent.record.standing import anchored, look_up

    problems = list(found.problems)
    verdict = _CLINIC_SIGNED if found.known else _SOMEBODY_SIGNED
    kept: Found | None = None
    if record is not None:
        kept, reasons = look_up(record, found.file, found.code)
        problems += [*reasons, *(() if found.problems else anchored(record, found.data))]
        verdict = _HOLDS
    more = {"signature": _signature(found), "record": None if kept is None else _standing(kept), "data": found.data}
    says = [*_sentences(found, record is not None), *(() if kept is None else _erased(kept))]
    return _answer(where, verdict, says, problems, **more)


def _sentences(found: Inspected, looked_up: bool) -> Iterator[str]:
    from consent.record.inspection import said

    yield f"{found.reason}, at {said(found.at) if found.at else 'no time'}."
    yield f"Sealed with a certificate that names {found.signer.subject}; fingerprint {found.signer.fingerprint}."
    if found.known:
        yield "The certificate is the clinic's own."
    elif not looked_up:
        yield "Anybody can write a name into a certificate: hold its fingerprint against that of the clinic's own."
    if found.expired:
        yield f"The certificate was valid then, and expired on {said(found.signer.valid_to)}: the paper keeps."
    yield f"Record {found.data.get('record_number')}, {found.data.get('eye')} eye, version {found.data.get('version')}."
    if not looked_up:
        yield "Signature and data were checked. The record was not looked into: the paper may have been replaced since."


def _signature(found: Inspected) -> dict[str, Any]:
    return {
        "certificate": found.signer.subject,
        "fingerprint": found.signer.fingerprint,
        "clinic": found.known,
        "valid_from": found.signer.valid_from.isoformat(),
        "valid_to": found.signer.valid_to.isoformat(),
        "expired_since": found.expired,
        "at": found.at.isoformat() if found.at else None,
        "reason": found.reason,
        "file": found.file,
        "code": found.code,
        "canonical": found.canonical,
        "attachments": list(found.attachments),
    }


def _code(text: str, where: str, record: Record | None) -> Answer:
    """What the code of a loose page says, whole or its two short groups."""
    from consent.compose.page_code import parse_code, parse_short
    from consent.record.standing import look_up, misnamed

    try:
        parts = parse_code(text) if ":" in text else None
        code = parts.digest if parts else parse_short(text)
    except PaperError as failure:
        return _answer(where, _BAD, (), failure.problems)
    says = [f"Record {parts.record_number}, version {parts.version}."] if parts else []
    if record is None:
        return _answer(where, _NO_RECORD, says, (), code=code)
    kept, reasons = look_up(record, None, code)
    if kept is None:
        return _answer(where, _BAD, says, reasons, code=code)
    if parts is not None:
        reasons = (*reasons, *misnamed(record, kept, parts))
    says += [*_page_sentences(kept), *_erased(kept)]
    return _answer(where, _CODE_HOLDS, says, reasons, code=code, record=_standing(kept))


def _page_sentences(kept: Found) -> Iterator[str]:
    from consent.record.inspection import said

    yield f"Signed off by {kept.sealed.by}, {said(kept.sealed.at)}; {kept.case.subject}, version {kept.sealed.version}."
    yield f"It is on: {', '.join(dict.fromkeys(paper.sheet for paper in kept.sealed.papers))}."
    yield "A code can be copied: the words of the page are proved only by the kept file (consent record papers)."


def _erased(kept: Found) -> Iterator[str]:
    from consent.record.inspection import said

    if (erased := kept.case.erased) is not None:
        yield f"Identity and papers of this patient were erased from the record on {said(erased.at)}."


def _standing(kept: Found) -> dict[str, Any]:
    sealed = kept.sealed
    ended = sealed.void or sealed.superseded
    return {
        "case": kept.case.subject,
        "stage": sealed.stage,
        "version": sealed.version,
        "sheet": kept.paper.sheet if kept.paper else None,
        "standing": "current" if ended is None else "void" if sealed.void else "superseded",
        "by_entry": ended and {"sequence": ended.sequence, "at": ended.at.isoformat(), "kind": ended.kind},
        "changes": list(ended.body.get("changes") or ()) if ended else [],
    }


def _answer(where: str, verdict: str, says: Iterable[str], problems: Iterable[Problem], **more: Any) -> Answer:
    found = tuple(replace(one, where=_at(where, one.where)) for one in problems)
    return Answer(where, _BAD if found else verdict, tuple(says), found, more)


def _at(paper: str, place: str) -> str:
    return paper if place.strip('"') in {paper, "file"} else f"{paper}, {place}"


def _as_data(answer: Answer) -> dict[str, Any]:
    reasons = [asdict(problem) for problem in answer.problems]
    holds = not reasons if reasons or answer.verdict in {_HOLDS, _CODE_HOLDS} else None
    told = {"paper": answer.paper, "verdict": answer.verdict, "holds": holds, "says": list(answer.says)}
    return {**told, "not_to_be_relied_on": reasons, **answer.more}


def _print(answer: Answer, with_data: bool) -> None:
    out.data(f"{answer.paper}: {answer.verdict}")
    for line in answer.says:
        out.data(f"  {line}")
    if with_data and "data" in answer.more:
        out.as_json(answer.more["data"])
