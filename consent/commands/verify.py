"""``consent verify``: is this paper the one that was signed, unchanged, by whom, and does it still hold."""

from __future__ import annotations

import argparse
import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Any

from consent.commands import out
from consent.commands.settings import RECORD_VARIABLE, find_record, record_place
from consent.errors import PaperError, Problem, UsageError

if TYPE_CHECKING:
    from consent.record.certificate import Certificate
    from consent.record.inspection import Inspected
    from consent.record.place import Record

_PICTURES = (b"\x89PNG", b"\xff\xd8\xff")


def run(options: argparse.Namespace) -> None:
    """Print what is known of each paper; ``PaperError`` at the end naming every reason not to rely on one."""
    if not options.files and not options.code:
        raise UsageError(Problem("nothing to look at", "consent verify", remedy="name a file, or give --code"))
    record = _record(options)
    told = [_file(Path(name), record, options) for name in options.files]
    told += [_code(text, text, record) for text in options.code]
    if options.json:
        out.as_json(told)
    else:
        for one in told:
            _print(one, options.data)
    problems = [problem for one in told for problem in one["not_to_be_relied_on"]]
    if problems:
        raise PaperError(Problem(**problem) for problem in problems)


def _record(options: argparse.Namespace) -> Record | None:
    import os

    if options.offline:
        return None
    asked = options.record or os.environ.get(RECORD_VARIABLE)
    if not asked and not record_place(None).key_file.is_file():
        return None
    return find_record(options.record, options.clinic)


def _file(path: Path, record: Record | None, options: argparse.Namespace) -> dict[str, Any]:
    try:
        content = path.read_bytes()
    except OSError as failure:
        raise UsageError(Problem(f"the file cannot be read ({failure.strerror})", str(path))) from failure
    if content.startswith(_PICTURES):
        return _code(_scanned(path), str(path), record)
    from consent.record.inspection import inspect

    try:
        found = inspect(content, _certificates(record, options), dt.datetime.now(dt.UTC))
    except PaperError as failure:
        return _told(str(path), [], failure.problems)
    return _sealed(path, found, record)


def _certificates(record: Record | None, options: argparse.Namespace) -> tuple[Certificate, ...]:
    from consent.record.certificate import read_certificates

    if options.certificate:
        path = Path(options.certificate)
        return read_certificates(path.read_bytes(), str(path))
    if record is None:
        return ()
    from consent.record.keeping_certificate import known_certificates

    return tuple(one.certificate for one in known_certificates(record))


def _sealed(path: Path, found: Inspected, record: Record | None) -> dict[str, Any]:
    from consent.record.standing import anchored, look_up

    whose = "the clinic's own certificate" if found.known else "a certificate that is not known here"
    lines = [
        f"{found.reason}, {found.at:%Y-%m-%d %H:%M %z}" if found.at else found.reason,
        f"sealed by {found.signer.subject}: {whose}; fingerprint {found.signer.fingerprint}",
        f"record {found.data.get('record_number')}, {found.data.get('eye')} eye, version {found.data.get('version')}",
    ]
    problems = list(found.problems)
    if not problems:
        lines.insert(0, "unchanged since it was signed")
    if record is None:
        lines.append("only signature and data were checked: whether it is the version that holds is not known here")
    else:
        kept, reasons = look_up(record, found.file, found.code)
        problems += [*reasons, *anchored(record, found.data)]
        if kept is not None and not reasons:
            lines.append("it is the version that holds")
    return {**_told(str(path), lines, problems), "data": dict(found.data), "code": found.code}


def _code(text: str, where: str, record: Record | None) -> dict[str, Any]:
    """What the code of a loose page says, whole or its two short groups."""
    from consent.compose.page_code import parse_code, parse_short
    from consent.record.standing import look_up

    try:
        parts = parse_code(text) if ":" in text else None
        code = parts.digest if parts else parse_short(text)
    except PaperError as failure:
        return _told(where, [], failure.problems)
    lines = [f"record {parts.record_number}, version {parts.version}"] if parts else []
    if record is None:
        lines.append("without the record nothing more can be said of a printed page")
        return {**_told(where, lines, ()), "code": code}
    kept, reasons = look_up(record, None, code)
    if kept is not None:
        sheets = ", ".join(dict.fromkeys(paper.sheet for paper in kept.sealed.papers))
        lines.append(f"{kept.case.subject}: signed off by {kept.sealed.by}, {kept.sealed.at:%Y-%m-%d %H:%M} UTC")
        lines.append(f"it is on: {sheets}; hold the page against the kept file: consent record papers")
        if not reasons:
            lines.append("it is the version that holds")
    return {**_told(where, lines, reasons), "code": code}


def _scanned(path: Path) -> str:
    """The text of the code on a photograph or scan of a page."""
    import zxingcpp
    from PIL import Image, UnidentifiedImageError

    try:
        with Image.open(path) as picture:
            codes = zxingcpp.read_barcodes(picture.convert("L"))
    except (UnidentifiedImageError, OSError) as failure:
        raise PaperError(Problem("this picture cannot be opened", str(path), remedy="take it again")) from failure
    texts = [code.text for code in codes if code.text.startswith("CONSENT:")]
    if not texts:
        raise PaperError(
            Problem(
                "no code of signed paper is seen in this picture",
                str(path),
                remedy="take it again, flat and near, or type the two short groups beside the code: --code",
            )
        )
    return texts[0]


def _told(where: str, lines: list[str], problems: Any) -> dict[str, Any]:
    return {"paper": where, "says": lines, "not_to_be_relied_on": [vars(problem) for problem in problems]}


def _print(told: dict[str, Any], with_data: bool) -> None:
    verdict = "DO NOT RELY ON IT" if told["not_to_be_relied_on"] else "it holds, as far as was looked"
    out.data(f"{told['paper']}: {verdict}")
    for line in told["says"]:
        out.data(f"  {line}")
    if with_data and "data" in told:
        out.as_json(told["data"])
