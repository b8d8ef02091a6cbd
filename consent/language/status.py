"""How far the words of a sheet have been checked, and whether a sheet made of them may be signed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from pathlib import Path

from consent.language.catalogue import SOURCE_LANGUAGE, inspect_catalogue, language_folder
from consent.language.ladder import REFRESH, SIGNABLE, Ladder, Record, Rung, ladder_text, read_ladder, status_error
from consent.language.po import Message

_STALE_AT_MOST = Rung.REVISED


@dataclass(frozen=True)
class Standing:
    """How one message counts today, and who vouched for it where somebody did."""

    rung: Rung
    stale: bool = False
    by: str = ""


@dataclass(frozen=True)
class ReleaseState:
    """How far the words of one sheet can be trusted: as far as the least of them."""

    lowest: Rung
    missing: tuple[str, ...]
    stale: tuple[str, ...]
    by: tuple[str, ...] = ()

    @property
    def may_be_signed(self) -> bool:
        """False makes the sheet a practice copy."""
        return self.lowest >= SIGNABLE


@dataclass(frozen=True)
class Counts:
    """Messages of a language by the rung they count at, and how many of them are stale."""

    total: int
    by_rung: Mapping[Rung, int]
    stale: int


def status_path(tag: str, directory: Path | None = None) -> Path:
    """The status file of a language."""
    return language_folder(tag, directory) / "status.toml"


def reviewed_path(tag: str, reviewed: Path) -> Path:
    """A clinic's own status file of a language, in its folder ``reviewed``."""
    return reviewed / f"{tag}.toml"


def release_of(
    ids: Iterable[str], tag: str, directory: Path | None = None, reviewed: Path | None = None
) -> ReleaseState:
    """The lowest rung among the messages a sheet used, those missing (or without a record) and those stale.

    ``reviewed`` is a clinic's folder of status files of the same form; one may raise a rung and never lowers one. A
    sheet of no messages counts as missing.
    """
    standings = standings_of(tag, directory, reviewed)
    found = {name: standings.get(name, Standing(Rung.MISSING)) for name in sorted(set(ids))}
    return ReleaseState(
        lowest=min((standing.rung for standing in found.values()), default=Rung.MISSING),
        missing=tuple(name for name, standing in found.items() if standing.rung is Rung.MISSING),
        stale=tuple(name for name, standing in found.items() if standing.stale),
        by=tuple(sorted({standing.by for standing in found.values() if standing.by})),
    )


def counts(tag: str, directory: Path | None = None, reviewed: Path | None = None) -> Counts:
    """How many of the English messages stand on each rung in a language."""
    standings = standings_of(tag, directory, reviewed).values()
    by_rung = {rung: sum(standing.rung is rung for standing in standings) for rung in Rung}
    return Counts(len(standings), by_rung, sum(standing.stale for standing in standings))


def standings_of(tag: str, directory: Path | None = None, reviewed: Path | None = None) -> Mapping[str, Standing]:
    """Every English message by id, and how it counts in a language. A status file changed since is read again."""
    own = reviewed_path(tag, reviewed) if reviewed else None
    if own is None or not own.exists():
        return _standings(tag, directory, None, 0)
    return _standings(tag, directory, own, own.stat().st_mtime_ns)


@cache
def _standings(tag: str, directory: Path | None, overlay: Path | None, changed: int) -> Mapping[str, Standing]:
    del changed
    english, _ = inspect_catalogue(SOURCE_LANGUAGE, directory)
    words, _ = inspect_catalogue(tag, directory)
    layers = [read_ladder(path).records for path in (status_path(tag, directory), overlay) if path is not None]
    standings: dict[str, Standing] = {}
    for name, source in english.messages.items():
        told = [_standing(layer.get(name), source, words.messages.get(name)) for layer in layers]
        standings[name] = max(told, key=lambda standing: (standing.rung, not standing.stale))
    return standings


def _standing(record: Record | None, source: Message, words: Message | None) -> Standing:
    if record is None or words is None or words.empty:
        return Standing(Rung.MISSING)
    rung = record.rung
    if record.text and record.text != words.fingerprint:
        rung = min(rung, Rung.MACHINE_DRAFT)
    stale = record.source != source.fingerprint
    rung = min(rung, _STALE_AT_MOST) if stale else rung
    return Standing(rung, stale, record.by if rung is record.rung else "")


def refresh_status(tag: str, directory: Path | None = None, *, drafted_by: str = "", on: date | None = None) -> Path:
    """Writes status.toml of a language anew and returns its path.

    A message whose words are unchanged keeps its record, so one whose English changed stays stale until somebody looks
    at it; new or changed words start at rung 1. ``drafted_by`` and ``on`` are needed when there is no file yet.
    """
    _forget()
    path = status_path(tag, directory)
    if path.exists():
        ladder = read_ladder(path)
    elif drafted_by and on:
        ladder = Ladder(drafted_by, on, {})
    else:
        remedy = f'run: {REFRESH} {tag} --drafted-by "who or which engine"'
        raise status_error(path, "a new status file must say who drafted the words and when", remedy)
    english, _ = inspect_catalogue(SOURCE_LANGUAGE, directory)
    words, _ = inspect_catalogue(tag, directory)
    records = {
        name: _renewed(ladder.records.get(name), source, words.messages[name])
        for name, source in english.messages.items()
        if name in words.messages and not words.messages[name].empty
    }
    path.write_text(ladder_text(replace(ladder, records=records)), encoding="utf-8")
    _forget()
    return path


def _forget() -> None:
    inspect_catalogue.cache_clear()
    _standings.cache_clear()


def _renewed(old: Record | None, source: Message, words: Message) -> Record:
    if old is None or _changed(old, source, words):
        return Record(source.fingerprint, Rung.MACHINE_DRAFT, words.fingerprint)
    return replace(old, text=words.fingerprint)


def _changed(old: Record, source: Message, words: Message) -> bool:
    known = old.text or (old.source if source == words else "")
    return bool(known) and known != words.fingerprint
