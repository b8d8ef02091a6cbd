"""What a leader asks for and a worker gives back, as bytes: everything a pack is made of, and its folder."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import tarfile
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from consent.case.reading import validate
from consent.clinic import Clinic
from consent.errors import ClinicError, Problem
from consent.pack.batch_job import Finished, Job, Wanted, finished_of

_WORDS = "words"


@dataclass(frozen=True)
class Ordered:
    """One pack to be made. ``words``: the clinic's own review, file by file; ``earlier``: the pack that was there."""

    job: Job
    clinic: Mapping[str, Any]
    words: Mapping[str, str]
    wanted: Wanted
    earlier: bytes

    @property
    def id(self) -> str:
        """The same for the same pack of the same moment: whoever asks again asks for what is being made already."""
        text = f"{self.job.digest}|{self.wanted.made_at.isoformat()}|{hashlib.sha256(self.earlier).hexdigest()}"
        return hashlib.sha256(text.encode()).hexdigest()


def order_of(job: Job, clinic: Clinic, wanted: Wanted, root: Path) -> Ordered:
    """The order for ``job``, whose earlier pack lies under ``root`` if there is one."""
    place, folder = root / job.name, clinic.words_folder
    files = sorted(folder.glob("*.toml")) if folder else []
    words = {path.name: path.read_text(encoding="utf-8") for path in files}
    data = clinic.model_dump(mode="json", by_alias=True, exclude_none=True) | {"reviewed_words": _WORDS}
    return Ordered(job, data, words, wanted, packed(place) if place.is_dir() else b"")


def written(ordered: Ordered) -> bytes:
    """``ordered`` as bytes."""
    told = asdict(ordered)
    told["wanted"]["made_at"] = ordered.wanted.made_at.isoformat()
    told["earlier"] = base64.b64encode(ordered.earlier).decode()
    return json.dumps(told, ensure_ascii=False).encode()


def read_order(content: bytes) -> Ordered:
    """The order that ``written`` gave."""
    told = json.loads(content)
    wanted = told["wanted"]
    return Ordered(
        Job(**told["job"]),
        told["clinic"],
        told["words"],
        Wanted(
            datetime.fromisoformat(wanted["made_at"]),
            tuple(wanted["languages"]),
            tuple(wanted["sheets"]),
            wanted["large"],
        ),
        base64.b64decode(told["earlier"]),
    )


def clinic_in(ordered: Ordered, folder: Path) -> Clinic:
    """The clinic of an order, its reviewed words laid down in ``folder``."""
    (folder / _WORDS).mkdir()
    for name, text in ordered.words.items():
        (folder / _WORDS / Path(name).name).write_text(text, encoding="utf-8")
    return validate(dict(ordered.clinic), Clinic, ClinicError, "clinic").beside(folder / "clinic.toml")


def result_of(finished: Finished, folder: Path) -> bytes:
    """What came of an order, as bytes; with the folder of the pack where there is one."""
    pack = packed(folder) if finished.is_made else b""
    told = asdict(finished) | {"pack": base64.b64encode(pack).decode()}
    return json.dumps(told, ensure_ascii=False).encode()


def read_result(content: bytes) -> tuple[Finished, bytes]:
    """The result that ``result_of`` gave, and the pack, to be unpacked."""
    told = json.loads(content)
    pack = base64.b64decode(told.pop("pack"))
    told["problems"] = tuple(Problem(**problem) for problem in told["problems"])
    return finished_of(told), pack


def packed(folder: Path) -> bytes:
    """The files of a pack as a tar archive."""
    held = io.BytesIO()
    with tarfile.open(fileobj=held, mode="w") as archive:
        for path in sorted(folder.rglob("*")):
            archive.add(path, path.relative_to(folder).as_posix(), recursive=False)
    return held.getvalue()


def unpack(pack: bytes, folder: Path) -> None:
    """Lay the files of ``pack`` into the new ``folder``; nothing outside of it (PEP 706)."""
    folder.mkdir(parents=True)
    with tarfile.open(fileobj=io.BytesIO(pack)) as archive:
        archive.extractall(folder, filter="data")
