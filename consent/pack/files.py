"""Writes a pack to a folder: each file whole or not at all."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from consent.compose import Document, Voice, aloud
from consent.compose.frame import marks
from consent.errors import MachineError, Problem, UsageError
from consent.language import Quoted, Said, Tongue
from consent.pack.compose import FOR_PATIENTS, READ_ALOUD, Pack
from consent.pack.data import assessment_data
from consent.pack.earlier import DATA, has_earlier_pack, holds_papers, remove_stale
from consent.pack.telephone import calendar_file, spoken, text_message
from consent.print import need_voice, read_aloud, to_pdf, to_screen


@dataclass(frozen=True)
class Written:
    """One file of the pack. ``parts``: of a text message. ``of``: the sheet that a file for the screen repeats."""

    path: Path
    sheet: str
    languages: tuple[str, ...]
    pages: int = 0
    parts: int = 0
    of: str = ""


def write_pack(pack: Pack, folder: Path, now: datetime, audio: bool = False) -> tuple[Written, ...]:
    """Write sheets, calendar file, data and index into ``folder``; return what was written, the index last.

    ``audio``: the papers for home also read aloud by a machine voice.
    A calendar file already in ``folder`` is replaced by one that takes back what no longer holds of it. Other files of
    an earlier pack of the patient are removed once all is written.
    Raises ``UsageError`` before anything is written if the folder holds another patient's papers, ``PrintError`` before
    a sheet with a hole in it is written, ``MachineError`` if the folder cannot be used or, before anything is written,
    if one of the papers cannot be read aloud, ``DropsError`` if the calendar file in it cannot be read.
    """
    for document in _to_be_read(pack) if audio else ():
        need_voice(document.languages[0][0])
    make_folder(folder)
    is_used = has_earlier_pack(folder, pack.assessment.case.patient.record_number)
    calendar = calendar_file(pack, now, folder / "drops.ics")
    written = [_sheet(document, pack, folder) for document in pack.documents]
    written += [copy for document in pack.documents for copy in _copies(document, folder)]
    written += _for_telephones(pack, calendar, folder)
    written += _spoken(pack, folder) if audio else ()
    data = folder / DATA
    write_whole(data, (json.dumps(assessment_data(pack), ensure_ascii=False, indent=2) + "\n").encode())
    written.append(Written(data, "assessment-file", ("en",)))
    index = folder / "index.html"
    write_whole(index, index_html(pack, tuple(written)).encode())
    if is_used:
        remove_stale(folder, [entry.path for entry in written])
    return (*written, Written(index, "index", (pack.assessment.clinic.language,)))


def _for_telephones(pack: Pack, calendar: bytes | None, folder: Path) -> Iterator[Written]:
    tag = spoken(pack)
    if calendar is not None:
        path = folder / "drops.ics"
        write_whole(path, calendar)
        yield Written(path, "calendar-file", (tag,))
    message = text_message(pack)
    path = folder / f"drops.{tag}.txt"
    write_whole(path, f"{message.text}\n".encode())
    yield Written(path, "message-file", (tag,), parts=message.parts)


def _spoken(pack: Pack, folder: Path) -> Iterator[Written]:
    """Going-home sheet and drop instructions as sound."""
    for document in _to_be_read(pack):
        tag = document.languages[0][0]
        voice = Voice((tag,), pack.assessment.clinic.digits)
        sound, suffix = read_aloud(aloud(document, pack.assessment, voice), tag)
        path = folder / f"{document.sheet}.{tag}.machine-voice{suffix}"
        write_whole(path, sound)
        yield Written(path, "audio-file", (tag,))


def _to_be_read(pack: Pack) -> Iterator[Document]:
    return (document for document in pack.documents if document.sheet in READ_ALOUD)


def write_lists(documents: Iterable[Document], day: date, digits: str, folder: Path) -> Iterator[Path]:
    """Print the lists of ``day`` into ``folder`` one by one, each whole, the day in its name; yield their paths.

    Raises ``UsageError`` if the folder holds a patient's papers, ``PrintError`` before a sheet with a hole in it is
    written, ``MachineError`` if the folder cannot be used.
    """
    make_folder(folder)
    if holds_papers(folder):
        raise UsageError(
            Problem(
                "this folder holds the papers of one patient",
                str(folder),
                "a list of several patients would go home with them",
                "choose another folder with --to",
            )
        )
    for document in documents:
        path = folder / f"{document.sheet}.{day.isoformat()}.{'-'.join(tag for tag, _ in document.languages)}.pdf"
        write_whole(path, to_pdf(document, digits))
        yield path


def make_folder(folder: Path) -> None:
    """Make ``folder`` where it is not there yet. Raises ``MachineError`` where it cannot be made."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as failure:
        reason = failure.strerror or "unknown reason"
        raise MachineError(
            Problem(f"the folder cannot be made ({reason})", str(folder), remedy="choose another folder with --to")
        ) from failure


def write_whole(path: Path, content: bytes) -> None:
    """Write ``content`` beside ``path`` first and move it there: a reader never sees half a file."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        Path(name).chmod(0o644)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def _sheet(document: Document, pack: Pack, folder: Path) -> Written:
    tags = tuple(tag for tag, _ in document.languages)
    path = folder / f"{document.sheet}.{'-'.join(tags)}.pdf"
    pdf = to_pdf(document, pack.assessment.clinic.digits)
    write_whole(path, pdf)
    return Written(path, document.sheet, tags, _pages(pdf))


def _copies(document: Document, folder: Path) -> Iterator[Written]:
    """Each sheet of the patient's once more in each of its languages, for a screen or a screen reader."""
    if document.sheet in FOR_PATIENTS:
        for place, (tag, _) in enumerate(document.languages):
            path = folder / f"{document.sheet}.{tag}.html"
            write_whole(path, to_screen(document, place).encode())
            yield Written(path, "screen-file", (tag,), of=document.sheet)


def _pages(pdf: bytes) -> int:
    from io import BytesIO

    from pikepdf import Pdf

    with Pdf.open(BytesIO(pdf)) as opened:
        return len(opened.pages)


def index_html(pack: Pack, written: tuple[Written, ...]) -> str:
    """The page that opens the rest of the pack."""
    from consent.print.render import environment

    assessment = pack.assessment
    voice = Voice((assessment.clinic.language,), assessment.clinic.digits)
    case = assessment.case
    return (
        environment()
        .get_template("sheets/index.html")
        .render(
            lang=voice.tags[0],
            dir=voice.speakers[0].direction,
            marks=[mark[0] for mark in marks(voice, assessment, patient_sheet=False)],
            title=_say(voice, "index.title", name=Quoted(case.patient.name), number=case.patient.record_number),
            status=_say(voice, "index.signed-off" if assessment.signed_off else "index.status"),
            first=_say(voice, "index.first"),
            points_heading=_say(voice, "review.points.heading"),
            points=[(_say(voice, f"severity.{p.severity}"), voice.remark(p.title)[0]) for p in pack.points],
            sheets_heading=_say(voice, "index.sheets"),
            sheets=list(_sheet_links(voice, written)),
            data_heading=_say(voice, "index.data"),
            data=[(w.path.name, _link(voice, w)) for w in written if not w.pages and not w.of],
            on_screen=_say(voice, "index.on-screen"),
        )
    )


def _sheet_links(voice: Voice, written: tuple[Written, ...]) -> Iterator[dict[str, Any]]:
    for entry in sorted(written, key=lambda entry: entry.sheet != "surgeon-review"):
        if entry.pages:
            copies = [one for one in written if one.of == entry.sheet and set(one.languages) <= set(entry.languages)]
            yield {
                "copies": [(one.path.name, voice.show(Tongue(one.languages[0]))[0]) for one in copies],
                "file": entry.path.name,
                "name": _say(voice, f"sheet.{entry.sheet}"),
                "languages": " + ".join(voice.show(Tongue(tag))[0].plain for tag in entry.languages),
                "pages": voice.count("index.pages", entry.pages)[0],
            }


def _link(voice: Voice, entry: Written) -> Said:
    if entry.parts:
        return voice.count(f"index.{entry.sheet}", entry.parts)[0]
    return _say(voice, f"index.{entry.sheet}")


def _say(voice: Voice, message: str, /, **slots: object) -> Said:
    return voice.line(message, **slots)[0]
