"""One patient of a list: made whole in a hidden folder, then put in its place, where it says what it is made of."""

from __future__ import annotations

import datetime as dt
import gc
import hashlib
import json
import multiprocessing
import os
import shutil
import signal
import threading
import time
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

from consent import __version__
from consent.case import Case
from consent.case.reading import validate
from consent.clinic import Clinic
from consent.errors import CaseError, ConsentError, Problem
from consent.pack.compose import FORM, SHEETS, compose_pack
from consent.pack.files import write_pack, write_whole
from consent.resources import locales, package_data, templates
from consent.review import Severity

DONE = "done.json"
"""In each finished folder: of what it was made, its files with their digests, and what the review found."""
HIDDEN = ".making-"
POLITE = 15
"""Niceness (nice(2)) of a list's processes: a desk on the same machine prints first."""


@dataclass(frozen=True)
class Wanted:
    """How the packs of a list are made. ``made_at``: the moment of the list, so that a resumed one is the same."""

    made_at: dt.datetime
    languages: tuple[str, ...] = ()
    sheets: tuple[str, ...] = SHEETS
    large: bool = False


@dataclass(frozen=True)
class Job:
    """One patient: the name of the folder, the case as JSON, and the digest of all that the pack is made of."""

    name: str
    case: Mapping[str, Any]
    digest: str


@dataclass(frozen=True)
class Finished:
    """What came of one job. ``files``: SHA-256 by name; ``lacking``: what the form would have to hold.

    ``problems``: why there is no pack.
    """

    name: str
    digest: str
    files: Mapping[str, str] = field(default_factory=dict)
    stops: tuple[str, ...] = ()
    asks: tuple[str, ...] = ()
    lacking: tuple[str, ...] = ()
    seconds: float = 0.0
    problems: tuple[Problem, ...] = ()

    @property
    def is_made(self) -> bool:
        return not self.problems


def job_of(case: Case, clinic: Clinic, wanted: Wanted) -> Job:
    """The job of ``case``; its folder is named by record number, eye and day, as a digest: no name stands in a path."""
    patient = f"{case.patient.record_number}|{case.eye.side}|{case.plan.date}"
    name = f"p-{hashlib.sha256(patient.encode()).hexdigest()[:12]}"
    data = case.model_dump(mode="json", by_alias=True, exclude_none=True)
    made_of = {
        "case": data,
        "clinic": clinic.model_dump(mode="json", by_alias=True),
        "reviewed words": _digest_of(clinic.words_folder),
        "wanted": [*wanted.languages, *wanted.sheets, wanted.large],
        "program": [__version__, program_digest()],
    }
    text = json.dumps(made_of, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return Job(name, data, hashlib.sha256(text.encode()).hexdigest())


def _digest_of(folder: Path | None) -> str:
    """SHA-256 of the clinic's own status files of languages, which decide what is a practice copy."""
    found = hashlib.sha256()
    for path in sorted(folder.glob("*.toml")) if folder else ():
        found.update(path.name.encode() + b"\0" + path.read_bytes())
    return found.hexdigest()


@cache
def program_digest() -> str:
    """SHA-256 of everything a sheet is made with: code, data, words, templates, styles."""
    found = hashlib.sha256()
    for root in (package_data(), locales(), templates()):
        for path in sorted(root.rglob("*")):
            if path.suffix in (".py", ".toml", ".po", ".html", ".css"):
                found.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes())
    return found.hexdigest()


def read_finished(folder: Path, digest: str | None = None) -> Finished | None:
    """What the finished pack in ``folder`` says of itself; None where it is not whole, or not made of ``digest``."""
    try:
        found = finished_of(json.loads((folder / DONE).read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError, KeyError):
        return None
    if digest is not None and found.digest != digest:
        return None
    whole = all(_is(folder / name, wanted) for name, wanted in found.files.items())
    return found if whole else None


def finished_of(told: Mapping[str, Any]) -> Finished:
    """What came of a job, as JSON tells it. Raises ``KeyError`` or ``TypeError`` where it is not whole."""
    return Finished(**{**told, **{name: tuple(told[name]) for name in ("stops", "asks", "lacking")}})


def _is(path: Path, wanted: str) -> bool:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest() == wanted
    except OSError:
        return False


def prepare_process(working: Path) -> None:
    """Get a process of the pool ready: it leaves Ctrl-C to its parent, ends with it, and loads once what prints.

    As long as it lives it holds the file ``working``, for which the next run waits: two never write to one folder.
    """
    import fcntl

    from consent.print import warm_up

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    os.nice(POLITE)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    fcntl.flock(os.open(working, os.O_RDWR | os.O_CREAT, 0o600), fcntl.LOCK_SH)
    warm_up()
    gc.disable()  # it ends after some packs, and each sheet clears up after itself


def _end_with_parent() -> None:
    """A process whose parent was killed would wait for work for ever."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def make(job: Job, clinic: Clinic, wanted: Wanted, root: Path) -> Finished:
    """Make the pack of ``job`` under ``root`` and return what came of it; what went wrong comes back in it.

    The folder of an earlier version is replaced once the new one is whole.
    """
    began = time.perf_counter()
    hidden = root / f"{HIDDEN}{job.name}"
    try:
        finished = _made(job, clinic, wanted, hidden, root / job.name)
    except ConsentError as error:
        finished = Finished(job.name, job.digest, problems=error.problems)
    except Exception as error:  # whatever it is, the other patients' papers are made
        finished = Finished(job.name, job.digest, problems=(_unforeseen(job, error),))
    shutil.rmtree(hidden, ignore_errors=True)
    return replace(finished, seconds=time.perf_counter() - began)


def _made(job: Job, clinic: Clinic, wanted: Wanted, hidden: Path, place: Path) -> Finished:
    case = validate(dict(job.case), Case, CaseError, "case")
    pack = compose_pack(case, clinic, wanted.languages, wanted.sheets, large=wanted.large)
    _begin(hidden, place)
    written = write_pack(pack, hidden, wanted.made_at)
    waiting = [(point.severity, point.id) for point in pack.points if point.open]
    finished = Finished(
        job.name,
        job.digest,
        {entry.path.name: hashlib.sha256(entry.path.read_bytes()).hexdigest() for entry in written},
        tuple(name for severity, name in waiting if severity is Severity.STOP),
        tuple(name for severity, name in waiting if severity is Severity.ASK),
        lacking=tuple(row.element.id for row in pack.lacking) if FORM in wanted.sheets else (),
    )
    told = {key: value for key, value in asdict(finished).items() if key not in ("seconds", "problems")}
    write_whole(hidden / DONE, json.dumps(told, sort_keys=True).encode())
    put_in_place(hidden, place)
    return finished


def _unforeseen(job: Job, error: Exception) -> Problem:
    """Names the sort of fault and not its text, which may quote the patient."""
    what = f"the pack could not be made ({type(error).__name__})"
    return Problem(what, job.name, "this is a fault of the program or of the disk", "look at this patient by hand")


def _begin(hidden: Path, earlier: Path) -> None:
    """A fresh hidden folder, with what a calendar that was handed out has to take back and files that are not ours."""
    shutil.rmtree(hidden, ignore_errors=True)
    hidden.mkdir(parents=True)
    if earlier.is_dir():
        shutil.copytree(earlier, hidden, dirs_exist_ok=True, ignore=lambda *_: [DONE])


def put_in_place(hidden: Path, place: Path) -> None:
    """Move the finished folder where it belongs: a reader finds the old one or the new one, or for a moment none."""
    handle = os.open(hidden, os.O_RDONLY)
    os.fsync(handle)
    os.close(handle)
    if place.exists():
        old = place.with_name(f"{HIDDEN}old-{place.name}")
        shutil.rmtree(old, ignore_errors=True)
        place.rename(old)
        hidden.rename(place)
        shutil.rmtree(old, ignore_errors=True)
    else:
        hidden.rename(place)
