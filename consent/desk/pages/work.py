"""Waiting for what takes longer than a second: how far it is, then what came of it."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

from litestar import Response
from litestar.background_tasks import BackgroundTask
from litestar.concurrency import sync_to_thread
from litestar.exceptions import NotFoundException
from litestar.response import File as FileResponse

from consent import errors
from consent.desk.faults import status_of
from consent.desk.finished import can_join, joined, named_file
from consent.desk.here import Here, Visitor
from consent.desk.routes import EVERYBODY, shown
from consent.desk.work import File, Outcome, Piece


@shown("/making/{name:str}", EVERYBODY)
def wait(here: Here, name: str) -> Response[Any]:
    """How far the work is; once it is done, its files, or back to where it was begun, or what stood in the way."""
    piece = _piece(here, name)
    if here.from_script:
        return Response({"done": piece.done, "share": piece.share})
    if not piece.done:
        return here.page("waiting.html", 200, piece=piece)
    outcome = piece.outcome
    if outcome.error:
        return here.page("work-failed.html", _status(outcome), piece=piece, problems=outcome.problems)
    if outcome.files:
        named = [named_file(file.name) for file in outcome.files]
        together = len(named) if can_join(outcome.files) else None
        return here.page("work-files.html", 200, piece=piece, files=named, together=together, problems=outcome.problems)
    return here.go(f"{piece.back}/{piece.id}" if outcome.told is not None else piece.back)


@shown("/making/{name:str}/{place:int}", EVERYBODY)
def fetch(here: Here, name: str, place: int) -> Response[Any]:
    """One finished file, to be looked at or printed; after the last one, all of them as one."""
    files = _piece(here, name).outcome.files if _piece(here, name).done else ()
    if place == len(files) and can_join(files):
        return _shown(joined(files))
    if not 0 <= place < len(files):
        raise NotFoundException("there is no such file")
    file = files[place]
    if file.path is not None:
        return _fetched(file.path, file.name, file.media_type)
    return _shown(file)


def _shown(file: File) -> Response[Any]:
    disposition = f'inline; filename="{file.name}"'
    return Response(file.content, media_type=file.media_type, headers={"content-disposition": disposition})


def _fetched(path: Path, name: str, media_type: str) -> Response[Any]:
    """A large file, taken away once it has been fetched."""
    if not path.exists():
        raise NotFoundException("this file was fetched already")

    def take_away() -> None:
        shutil.rmtree(path.parent, ignore_errors=True)

    after = BackgroundTask(sync_to_thread, take_away)
    return FileResponse(path, filename=name, media_type=media_type, background=after)


def _piece(here: Visitor, name: str) -> Piece:
    piece = here.office.work.piece(name, here.me.id)
    if piece is None:
        raise NotFoundException("there is no such work of yours")
    return piece


def _status(outcome: Outcome) -> int:
    kind = getattr(errors, outcome.error or "", None)
    return status_of(kind(outcome.problems)) if kind else 500


HANDLERS = [wait, fetch]
