"""The page that is read aloud before surgery: what stops, and each thing that is said."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from consent.case import Answer, Case, ExtraStep, Lens
from consent.compose.form_plan import lens_remark
from consent.compose.page_code import short_code
from consent.desk.fields import slug
from consent.desk.holding import Holding, Mark
from consent.language import Quoted
from consent.record.state import SealedSet, Told
from consent.review import Point
from consent.wording import Remark, remark

_SHELF: dict[Answer, Mark] = {Answer.YES: "good", Answer.NO: "stop", Answer.UNKNOWN: "ask"}


@dataclass(frozen=True)
class Band:
    """One thing over the full width: its sign, what is so, what to do, and the points it comes from.

    ``call``: who is to be called; ``paths``: the pages, by the end of their path, on which it is settled.
    """

    mark: Mark
    words: Remark
    do: tuple[Remark, ...] = ()
    points: tuple[Point, ...] = ()
    call: Literal["counsellor", "surgeon"] | None = None
    paths: tuple[str, ...] = ()


@dataclass(frozen=True)
class Fact:
    """One thing that is read aloud: what it is, how it is, and a sign where somebody must look."""

    label: str
    value: Remark | Quoted | dt.date
    mark: Mark = "plain"


def bands(case: Case, found: Holding, zone: dt.tzinfo, told: bool = False) -> tuple[Band, ...]:
    """What stops, heaviest first; where nothing does, the one band that says that consent holds.

    ``told``: the talk was held, and the surgeon has not signed off yet.
    """
    return tuple(sorted(_bands(case, found, zone, told), key=lambda band: _HEAVIEST_FIRST.index(band.mark)))


_HEAVIEST_FIRST: tuple[Mark, ...] = ("stop", "ask", "plain", "good")


def _bands(case: Case, found: Holding, zone: dt.tzinfo, told: bool) -> Iterator[Band]:
    if found.word != "good":
        call, paths = ("surgeon", ("review",)) if told else _SETTLED.get(found.word, (None, ()))
        yield Band(found.mark, _word(case, found), (_what_to_do(found, zone),), (), call, paths)
    if found.sides:
        named = (remark(f"holds.side.{where}", eye=remark(f"eye.{side}")) for where, side in found.sides)
        yield Band("stop", remark("holds.sides"), (*named, remark("holds.sides.do")), (), "surgeon")
    for point in found.stops:
        yield Band("stop", point.title, (point.settle,), (point,), "surgeon", ("review",))
    if found.asks and found.may_start:
        yield Band(
            "ask", remark("holds.asks"), tuple(point.title for point in found.asks), found.asks, "surgeon", ("review",)
        )
    if found.good:
        yield Band("good", remark("holds.good"), (remark("holds.good.do"),))


_SETTLED: dict[str, tuple[Literal["counsellor", "surgeon"] | None, tuple[str, ...]]] = {
    "no-papers": ("counsellor", ("talk",)),
    "void": ("counsellor", ("talk",)),
    "not-signed": ("counsellor", ("consented",)),
    "wants-time": ("counsellor", ("talk",)),
    "withdrawn": ("counsellor", ("mind",)),
    "declined": ("counsellor", ("mind",)),
    "other-day": ("surgeon", ()),
    "not-confirmed": (None, ("confirm",)),
}
"""How consent stands, who is called then, and where it goes on."""


def _word(case: Case, found: Holding) -> Remark:
    if found.word == "other-day":
        return remark("holds.other-day", date=case.plan.date)
    return remark(f"holds.{found.word}")


def _what_to_do(found: Holding, zone: dt.tzinfo) -> Remark:
    if found.void is not None and found.word == "void":
        entry = found.void.entry
        at = entry.at.astimezone(zone)
        return remark("holds.void.do", date=at.date(), time=_minute(at), name=Quoted(entry.person))
    return remark("holds.no.do" if found.word in ("withdrawn", "declined") else f"holds.{found.word}.do")


def _minute(at: dt.datetime) -> dt.time:
    return at.time().replace(second=0, microsecond=0, tzinfo=None)


def consent_facts(found: Holding, day: dt.date, zone: dt.tzinfo, by: str | None) -> tuple[Fact, ...]:
    """Which papers hold, who signed them and when, and whether it was confirmed on ``day``; ``by`` whom."""
    papers = Fact("pause.papers", remark("pause.no-papers"), "stop")
    if found.papers is not None:
        papers = Fact("pause.papers", _papers(found.papers, zone), "good")
    signed = Fact("pause.signed", remark("pause.not-signed"), "stop")
    if found.signed is not None:
        signed = Fact("pause.signed", _signature(found.signed, zone), "good")
    return papers, signed, _confirmed(found, day, by)


def _papers(papers: SealedSet, zone: dt.tzinfo) -> Remark:
    at, code = papers.at.astimezone(zone), "\u00a0".join(short_code(papers.code))
    return remark(
        "pause.paper-set",
        version=papers.version,
        code=code,
        name=Quoted(papers.by),
        date=at.date(),
        time=_minute(at),
    )


def _signature(signed: Told, zone: dt.tzinfo) -> Remark:
    at, details = signed.entry.at.astimezone(zone), signed.details
    how = remark(f"pause.how.{slug(details['how'])}")
    slots = {"name": Quoted(details["by"]), "how": how, "date": at.date(), "time": _minute(at)}
    if details.get("witness"):
        return remark("pause.signature-witness", witness=Quoted(details["witness"]), **slots)
    return remark("pause.signature", **slots)


def _confirmed(found: Holding, day: dt.date, by: str | None) -> Fact:
    at = found.confirmed
    if at is None or by is None:
        return Fact("pause.confirmed", remark("pause.not-confirmed"), "ask")
    if at.date() != day:
        return Fact("pause.confirmed", remark("pause.confirmed-other", date=at.date(), name=Quoted(by)), "stop")
    return Fact("pause.confirmed", remark("pause.confirmed-at", time=_minute(at), name=Quoted(by)), "good")


@dataclass(frozen=True)
class LensRow:
    """One lens that may be used: design and power, material, place, whether it is here, whether it was agreed."""

    label: str
    lens: Lens | None
    words: Remark
    shelf: Remark | None = None
    shelf_mark: Mark = "plain"
    agreed: Remark | None = None
    agreed_mark: Mark = "plain"


_AGREED: dict[Answer, tuple[str, Mark]] = {
    Answer.YES: ("pause.second-agreed", "good"),
    Answer.NO: ("pause.second-not-agreed", "stop"),
    Answer.UNKNOWN: ("pause.second-unknown", "ask"),
}


def lens_rows(case: Case) -> tuple[LensRow, ...]:
    """The planned lens, then those that may be used instead."""
    plan = case.plan
    if plan.lens is None:
        first = LensRow("pause.first-choice", None, remark("value.lens-not-chosen"), None, "ask")
    else:
        first = _lens("pause.first-choice", plan.lens)
    words, mark = _AGREED[plan.fallback_in_consent]
    others = [_lens("pause.second-choice", lens, remark(words), mark) for lens in plan.fallback_lenses]
    return (first, *(others or [LensRow("pause.second-choice", None, remark("pause.no-second"))]))


def _lens(label: str, lens: Lens, agreed: Remark | None = None, mark: Mark = "plain") -> LensRow:
    shelf = remark(f"pause.shelf.{lens.on_shelf}")
    return LensRow(label, lens, lens_remark(lens), shelf, _SHELF[lens.on_shelf], agreed, mark)


def steps_not_on_form(case: Case) -> tuple[ExtraStep, ...]:
    """Extra steps that nobody put to the patient."""
    return tuple(step for step in ExtraStep if step not in case.plan.extra_steps)


def anaesthesia(case: Case) -> Fact:
    """How the eye is made numb."""
    kind = case.plan.anaesthesia
    if kind is None:
        return Fact("pause.anaesthesia", remark("pause.no-anaesthesia"), "ask")
    said = {"kind": remark(f"choice.anaesthesia.{slug(kind)}"), "plain": remark(f"anaesthesia.{kind}")}
    return Fact("pause.anaesthesia", remark("pause.numb", **said))
