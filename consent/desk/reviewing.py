"""All that stands on the page of review, worked out from the case and its composed sheets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import ClassVar, get_args

from markupsafe import Markup

from consent.case import Understood
from consent.compose.document import Facts, Line, Para
from consent.compose.figures import own_shown, short_figure, usual_shown
from consent.compose.review_drops import drops_section
from consent.compose.review_sheet import plan_and_fact, risk_row
from consent.desk.drops_again import DropsAgain, drops_again
from consent.desk.entry_lines import EntryLine, entry_lines
from consent.desk.heading import Heading, heading, voice_of
from consent.desk.here import Visitor
from consent.desk.in_the_way import InTheWay, in_the_way
from consent.desk.next_step import NextStep, next_step
from consent.desk.operated import FOUND
from consent.desk.since import Since, changed_after, since_look, voided_last
from consent.desk.told_since import tell_new
from consent.desk.waiting import Waiting
from consent.errors import Problem
from consent.pack import Pack
from consent.record.moves import move
from consent.record.state import AFTERCARE, CONSENT, CaseState, SealedSet
from consent.review import Assessment, Point, Severity, review_triggers
from consent.risk import Estimate, RangeKind, has_lapsed, unaccepted_series
from consent.wording import Remark, remark


@dataclass(frozen=True)
class Driver:
    """One factor that raises the risk of this eye, or could."""

    name: Markup
    ratio: float
    known: bool


@dataclass(frozen=True)
class Figure:
    """One number: what the surgeon reads of it, and what the patient is told. ``cells`` as on the review sheet;
    ``kind``: of its range; ``single``: whether it may stand as one number."""

    outcome: str
    cells: tuple[Markup, ...]
    seen: Markup
    kind: str | None
    single: bool
    known: bool


@dataclass(frozen=True)
class Typed:
    """What was typed into the page and could not be recorded, with the problems. ``taken_on``: keys of stops that were
    ticked; ``lacking``: message that says what an answer lacks, by the key of its point."""

    why: Mapping[str, str] = field(default_factory=dict)
    back: str = ""
    problems: tuple[Problem, ...] = ()
    at: str = ""
    taken_on: frozenset[str] = frozenset()
    lacking: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Review:
    """The page. ``may``: kinds of entries that can be made from where the case stands; ``day_came``: it is the day of
    surgery, or later; ``making``: papers of it are being made; ``told_before``: the talk was held. ``sentence`` and
    ``short``: letters that a reason against a stop, and an answer to a question, have at least."""

    sentence: ClassVar[int] = 20
    short: ClassVar[int] = 10

    top: Heading
    assessment: Assessment
    pack: Pack
    step: NextStep
    waiting: Waiting
    points: tuple[Point, ...]
    notes: tuple[Point, ...]
    drivers: tuple[Driver, ...]
    rupture: Figure
    figures: tuple[Figure, ...]
    kinds: tuple[str, ...]
    drops: tuple[Markup, ...]
    fact: tuple[tuple[Markup, Markup], ...]
    since: Since
    new: tuple[EntryLine, ...]
    voided: SealedSet | None
    after_void: tuple[EntryLine, ...]
    hindrances: tuple[InTheWay, ...]
    may: frozenset[str]
    triggers: tuple[Remark, ...]
    not_understood: bool
    not_accepted: tuple[str, ...]
    typed: Typed
    day_came: bool
    making: bool
    told_before: bool
    drops_again: DropsAgain | None

    @property
    def overridden(self) -> tuple[Point, ...]:
        """Stops that a surgeon goes on against."""
        return tuple(point for point in self.points if point.severity is Severity.STOP and not point.open)

    @property
    def lapsed(self) -> bool:
        """Whether figures were accepted that are others now."""
        return has_lapsed(self.assessment.risks.values(), self.top.one)

    @property
    def tell_new(self) -> bool:
        """Whether the patient was told other numbers than the form says, and has not signed it yet."""
        return tell_new(self.waiting.case)

    @property
    def lost(self) -> tuple[str, ...]:
        """Reasons that were written to points which are no longer there as they were."""
        there = {point.key for point in self.points if point.open}
        return tuple(text for key, text in self.typed.why.items() if key not in there)


def review(here: Visitor, case: CaseState, typed: Typed) -> Review:
    """The page of review of ``case`` for whoever asks. Raises ``RecordError`` where the identity was erased."""
    pack = here.office.shelf.pack(case)
    assessment = pack.assessment
    stage = AFTERCARE if case.case.done else CONSENT
    hindrances = in_the_way(pack, stage, here.words)
    waiting = Waiting(case, assessment)
    since = since_look(case, here.me.id, here.office.now)
    making = _making(here, case)
    voided = voided_last(case)
    changed = {told.entry.sequence for told in changed_after(case, voided)} if voided else set()
    return Review(
        heading(here, case),
        assessment,
        pack,
        making or next_step(waiting, not hindrances, here.office.today),
        waiting,
        tuple(point for point in pack.points if point.severity is not Severity.NOTE),
        tuple(point for point in pack.points if point.severity is Severity.NOTE),
        drivers(here, assessment),
        figure_of(here, assessment.risks["capsule_rupture"], assessment),
        tuple(figure_of(here, one, assessment) for one in assessment.risks.values() if one.applies),
        _kinds(assessment),
        _drops(here, assessment),
        _fact(here, assessment),
        since,
        entry_lines(here, case, since.places),
        voided,
        entry_lines(here, case, changed),
        hindrances,
        frozenset(kind for kind in _KINDS if case.state in move(kind).origins),
        review_triggers(case.case),
        any(said.result is Understood.NOT_YET for said in case.case.talk.said_back),
        _not_accepted(assessment),
        typed,
        case.case.plan.date <= here.office.today,
        making is not None,
        case.case.talk.at is not None,
        drops_again(assessment),
    )


def signing(subject: str, kind: str) -> str:
    """What making the papers that ``kind`` seals is about: one such piece of work at a time."""
    return f"{kind} {subject}"


def _making(here: Visitor, case: CaseState) -> NextStep | None:
    """The step while papers of ``case`` are being made; None where none are."""
    for kind in ("signed-off", "aftercare-issued"):
        if piece := here.office.work.under_way(signing(case.subject, kind)):
            mine = piece.account == here.me.id
            path = f"/making/{piece.id}" if mine else f"/case/{case.subject}/papers"
            return NextStep("look.next.making", "look.go.making", path)
    return None


_KINDS = (
    "answered",
    "figures-accepted",
    "sent-back",
    "signed-off",
    "voided",
    "changed",
    "drops-changed",
    "done-out-of-order",
)


def drivers(here: Visitor, assessment: Assessment) -> tuple[Driver, ...]:
    """What drives the risk that the bag tears: what is not known first, then the strongest."""
    found = sorted(assessment.risks["capsule_rupture"].drivers, key=lambda one: (one.known, -one.ratio))
    return tuple(Driver(here.words.remark(remark(f"factor.{one.factor}")), one.ratio, one.known) for one in found)


def figure_of(here: Visitor, estimate: Estimate, assessment: Assessment) -> Figure:
    """One number as the surgeon reads it and as the patient is told it."""
    voice = voice_of(here)
    usual, own = usual_shown(estimate), own_shown(estimate, assessment.case, assessment.clinic)
    seen = short_figure(usual) if own is None else short_figure(own, beside=usual)
    cells = tuple(_html(cell) for cell in risk_row(estimate, assessment, voice))
    kind = estimate.interval.kind if estimate.interval else None
    single = estimate.single_figure or kind is None
    return Figure(estimate.outcome, cells, here.words.remark(seen), kind, single, estimate.known)


def _kinds(assessment: Assessment) -> tuple[str, ...]:
    """The kinds of ranges that the numbers have, in the order of the letters that name them."""
    found = {one.interval.kind for one in assessment.risks.values() if one.interval}
    return tuple(kind for kind in get_args(RangeKind) if kind in found)


def _drops(here: Visitor, assessment: Assessment) -> tuple[Markup, ...]:
    section = drops_section(assessment, voice_of(here))
    return tuple(_html(block.text) for block in section.blocks if isinstance(block, Para))


def _fact(here: Visitor, assessment: Assessment) -> tuple[tuple[Markup, Markup], ...]:
    """What was done and found, not known where nobody has said it, and where it was not as agreed; nothing before
    surgery."""
    done, say = assessment.case.done, here.words.say
    if done is None:
        return ()
    side = say(f"eye.{done.side}") if done.side else say("choice.answer.unknown")
    found = ((path, getattr(done, path.removeprefix("done."))) for path in FOUND)
    blocks = plan_and_fact(assessment, voice_of(here)).blocks
    return (
        (say("field.done.side"), side),
        (say("field.done.by"), here.words.typed(done.by) if done.by else say("look.not-entered")),
        *((say(f"field.{path}"), say(f"choice.answer.{answer}")) for path, answer in found),
        *((_html(a), _html(b)) for block in blocks if isinstance(block, Facts) for a, b in block.rows),
    )


def _not_accepted(assessment: Assessment) -> tuple[str, ...]:
    """Series that nobody at the clinic has accepted: the figures of this eye over them do not reach the patient."""
    personal = [one for one in assessment.risks.values() if one.personal]
    return tuple(dict.fromkeys(name for one in personal for name in unaccepted_series(one, assessment.clinic)))


def _html(line: Line) -> Markup:
    return Markup(line[0].html)  # noqa: S704  escaped where it was said
