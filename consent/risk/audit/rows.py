"""Turns the rows of an audit into eyes for the model, and keeps every row it cannot use with the reasons."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from pydantic import ValidationError

from consent.case import Answer, Case, Glaucoma, Health, NucleusGrade, Patient, Plan, PupilGrade, Retinopathy, Sex, Side
from consent.case.model import AlphaBlocker, Eye, Nucleus, Surgeon
from consent.case.patient import OLDEST, YOUNGEST
from consent.case.plain import heading_key, printable, word_key
from consent.case.table import Row, Table
from consent.evidence import OddsModel
from consent.risk.audit.calibration import NO_SURGEON, AuditedEye
from consent.risk.audit.columns import OUTCOMES, Mapped, audit_rules, map_columns, recognised
from consent.risk.audit.values import OutsideModelError, value_of
from consent.risk.factors import factor_levels
from consent.risk.odds import composite

Facts = dict[str, Any]


@dataclass(frozen=True)
class SetAside:
    """A row that cannot be used, as it stands in the file, and why. ``event``: what it says of the outcome.

    ``outside``: it was read, and the model was not made on such an operation.
    """

    row: Row
    reasons: tuple[str, ...]
    event: Answer
    outside: bool = False


@dataclass(frozen=True)
class Cases:
    """An audit file as understood: usable eyes, rows set aside, and which columns were read, ignored or absent."""

    headings: tuple[str, ...]
    eyes: tuple[AuditedEye, ...]
    set_aside: tuple[SetAside, ...]
    read: dict[str, str]
    ignored: tuple[str, ...]
    absent: tuple[str, ...]
    remarks: tuple[str, ...] = ()

    @property
    def unread(self) -> tuple[SetAside, ...]:
        """Rows that belong to the audit and could not be read."""
        return tuple(entry for entry in self.set_aside if not entry.outside)

    @property
    def reasons(self) -> dict[str, list[int]]:
        """Numbers of the rows set aside, by reason, the most frequent reason first."""
        found: dict[str, list[int]] = {}
        for entry in self.set_aside:
            for reason in entry.reasons:
                found.setdefault(reason, []).append(entry.row.number)
        return dict(sorted(found.items(), key=lambda item: -len(item[1])))


def read_cases(table: Table, model: OddsModel, where: str) -> Cases:
    """The eyes in ``table`` for ``model``, with every row that cannot be used and why.

    A fact left empty is unknown; a word that is not understood sets its row aside. Raises ``CaseError`` where the
    columns cannot be told apart, or outcome or age has none.
    """
    columns = map_columns(table.headings, where)
    white_named = _types_name_white(table, columns)
    reader = _Reader(columns, len(table.headings), model, white_named)
    found = [reader.read(row) for row in table.rows]
    known = {mapped.place for mapped in recognised(table.headings)}
    ignored = [text for place, text in enumerate(table.headings) if place not in known and text.strip()]
    return Cases(
        table.headings,
        tuple(entry for entry in found if isinstance(entry, AuditedEye)),
        tuple(entry for entry in found if isinstance(entry, SetAside)),
        {mapped.heading: mapped.column.shown for mapped in columns.values()},
        tuple(map(printable, ignored)),
        _absent(columns, white_named),
        (*table.remarks, *_half_outcome(columns), *_maybe_outcome(ignored), *_twice(table)),
    )


def _maybe_outcome(ignored: list[str]) -> tuple[str, ...]:
    """What to say of an ignored column that may hold the outcome."""
    words = {word for name in OUTCOMES for text in audit_rules().column(name).spellings for word in text.split()}
    telling = words & {"pcr", "rupture", "rent", "tear", "vitreous", "vl", "event"}
    named = [f'"{printable(text)}"' for text in ignored if telling & set(heading_key(text).split())]
    if not named:
        return ()
    return (f"{', '.join(named)} is ignored; if it says whether the capsule ruptured, rename it and run this again",)


def _twice(table: Table) -> tuple[str, ...]:
    """What to say where rows stand in the file more than once, cell for cell."""
    first: dict[tuple[str, ...], int] = {}
    again = [row for row in table.rows if first.setdefault(row.cells, row.number) != row.number]
    if not again:
        return ()
    example = f"row {again[0].number} does row {first[again[0].cells]}"
    return (f"{len(again)} rows repeat an earlier row cell for cell, as {example}; all are counted",)


def _half_outcome(columns: dict[str, Mapped]) -> tuple[str, ...]:
    """What to say where the outcome is only half of the model's."""
    if len(given := [name for name in OUTCOMES if name in columns]) != 1 or given == [OUTCOMES[0]]:
        return ()
    shown = columns[given[0]].column.shown
    return (f"only {shown} has a column; the model counts {audit_rules().column(OUTCOMES[0]).shown}",)


def _absent(columns: dict[str, Mapped], types_name_white: bool) -> tuple[str, ...]:
    """Facts the model asks for that have no column; what one column says for two counts for both."""
    given = set(columns)
    if "brunescent_or_white" in given:
        given |= {"nucleus", "white"}
    if "brunescent" in given:
        given |= {"nucleus"}
    if types_name_white:
        given |= {"white"}
    if "exfoliation_or_loose" in given:
        given |= {"pseudoexfoliation", "phacodonesis"}
    return tuple(column.shown for column in audit_rules().columns if column.asked and column.id not in given)


def _types_name_white(table: Table, columns: dict[str, Mapped]) -> bool:
    """Whether the column of the nucleus also says white: then any other grade in it is not a white lens."""
    mapped = columns.get("nucleus")
    if mapped is None:
        return False
    return any(
        mapped.meanings.get(word_key(row.cells[mapped.place])) == "white"
        for row in table.rows
        if mapped.place < len(row.cells)
    )


class _Reason(str):
    """Why a cell cannot be read, in words."""


class _Outside(_Reason):
    """Why a row is outside the model."""


@dataclass
class _Reader:
    """Reads one row after another with the columns found; remembers surgeons as first written, and cells once read."""

    columns: dict[str, Mapped]
    width: int
    model: OddsModel
    types_name_white: bool
    surgeons: dict[str, str] = field(default_factory=dict)
    values: dict[tuple[str, str], Any] = field(default_factory=dict)

    def read(self, row: Row) -> AuditedEye | SetAside:
        facts, reasons = self._facts(row)
        event = _event(facts)
        if event is Answer.NO and any(name in reasons for name in OUTCOMES):
            event = Answer.UNKNOWN
        if event is Answer.UNKNOWN and not any(name in reasons for name in OUTCOMES):
            missing = [self.columns[name].heading for name in OUTCOMES if facts.get(name) is Answer.UNKNOWN]
            reasons["outcome"] = f"{', '.join(missing)}: the outcome is not known; write yes or no"
        if facts.get("outcome") is Answer.NO and event is Answer.YES:
            reasons["outcome"] = "the columns of the outcome contradict each other"
        if any(map(str.strip, row.cells[self.width :])):
            reasons["width"] = "the row has more cells than there are headings"
        try:
            case = _case(facts, self.types_name_white) if not reasons else None
        except ValueError as failure:
            case, reasons["case"] = None, str(failure)
        if case is None:
            outside = any(isinstance(reason, _Outside) for reason in reasons.values())
            return SetAside(row, tuple(reasons.values()), event, outside)
        return self._eye(case, facts, event)

    def _facts(self, row: Row) -> tuple[Facts, dict[str, str]]:
        facts: Facts = {}
        reasons: dict[str, str] = {}
        for name, mapped in self.columns.items():
            cell = row.cells[mapped.place] if mapped.place < len(row.cells) else ""
            value = self._value(name, cell)
            if isinstance(value, _Reason):
                reasons[name] = value
            else:
                facts[name] = value
        return facts, reasons

    def _value(self, name: str, cell: str) -> Any:
        """What a cell says, or the reason why it cannot be told; the same cell is read once."""
        if (name, cell) not in self.values:
            try:
                self.values[name, cell] = value_of(cell, self.columns[name])
            except OutsideModelError as failure:
                self.values[name, cell] = _Outside(f"{self.columns[name].heading}: {failure}")
            except ValueError as failure:
                self.values[name, cell] = _Reason(f"{self.columns[name].heading}: {failure}")
        return self.values[name, cell]

    def _eye(self, case: Case, facts: Facts, event: Answer) -> AuditedEye:
        levels = factor_levels(case, self.model, grade_counts=False)
        surgeon = facts.get("surgeon", NO_SURGEON)
        day = facts.get("operation_date")
        return AuditedEye(
            event=event is Answer.YES,
            composite=composite(level.odds_ratio for level in levels),
            highest=composite(level.highest for level in levels),
            unknown=tuple(level.factor for level in levels if not level.known and level.highest > 1),
            surgeon=self.surgeons.setdefault(heading_key(surgeon), surgeon),
            year=day.year if day else None,
        )


def _event(facts: Facts) -> Answer:
    """Whether the capsule ruptured or vitreous was lost: one yes is enough, a no needs every part answered."""
    both = facts.get("outcome", Answer.UNKNOWN)
    parts = [facts[name] for name in OUTCOMES[1:] if name in facts]
    if Answer.YES in (both, *parts):
        return Answer.YES
    if both is Answer.NO or (parts and "outcome" not in facts and all(part is Answer.NO for part in parts)):
        return Answer.NO
    return Answer.UNKNOWN


@cache
def _nobody() -> Case:
    """A case in which nothing is known; an audit's rows need no name, number or language."""
    patient = Patient(name="-", record_number="0", language="en", age_years=YOUNGEST)
    plan = Plan(side=Side.RIGHT, surgeon=Surgeon(name="-"), date=dt.date(2000, 1, 1))
    return Case(schema=1, patient=patient, eye=Eye(side=Side.RIGHT), plan=plan)


def _case(facts: Facts, types_name_white: bool) -> Case:
    """The case a row describes; ``ValueError`` for an age or a length the model cannot take."""
    nobody = _nobody()
    sex = Sex(facts.get("sex", "unknown"))
    born, operated, age = (facts.get(name) for name in ("birth_date", "operation_date", "age_years"))
    if born is None or operated is None:
        if age is None:
            raise ValueError("the age is not known: write it, or a birth date and an operation date")
        born, operated = None, nobody.plan.date
    patient = nobody.patient.model_copy(update={"sex": sex, "birth_date": born, "age_years": age})
    years = patient.age_on(operated)
    if not YOUNGEST <= years <= OLDEST:
        raise ValueError(f"age {years} years: this program is for adults of {YOUNGEST} to {OLDEST} years")
    parts = {"patient": patient, "eye": _eye(facts, types_name_white), "health": _health(facts)}
    return nobody.model_copy(update=parts | {"plan": nobody.plan.model_copy(update={"date": operated})})


def _eye(facts: Facts, types_name_white: bool) -> Eye:
    loose = facts.get("exfoliation_or_loose", Answer.UNKNOWN)
    grade, white = _lens(facts, types_name_white)
    try:
        return Eye(
            side=Side.RIGHT,
            nucleus=Nucleus(grade=grade),
            white=white,
            pseudoexfoliation=_first(facts.get("pseudoexfoliation"), loose),
            phacodonesis=_first(facts.get("phacodonesis"), loose),
            fundus_seen=facts.get("fundus_seen", Answer.UNKNOWN),
            glaucoma=Glaucoma(facts.get("glaucoma", "unknown")),
            retinopathy=Retinopathy(facts.get("retinopathy", "unknown")),
            pupil_grade=PupilGrade(facts.get("pupil_grade", "unknown")),
            axial_length_mm=facts.get("axial_length_mm"),
        )
    except ValidationError as failure:
        fault = failure.errors()[0]
        wrong = fault["msg"].removeprefix("Input ")
        raise ValueError(f"axial length {fault['input']:g} mm {wrong} mm") from failure


def _first(answer: Answer | None, other: Answer) -> Answer:
    return other if answer is None or answer is Answer.UNKNOWN else answer


def _lens(facts: Facts, types_name_white: bool) -> tuple[NucleusGrade, Answer]:
    """Grade of the nucleus and whether the lens is white. The model only reads brunescent, white, or neither."""
    kind = facts.get("nucleus", "unknown")
    white: Answer = facts.get("white", Answer.UNKNOWN)
    if kind == "white":
        if white is Answer.NO:
            raise ValueError("one column says a white lens, another says it is not white")
        return NucleusGrade.UNKNOWN, Answer.YES
    grade = NucleusGrade(kind)
    either = facts.get("brunescent_or_white", Answer.UNKNOWN)
    if either is Answer.YES:
        return NucleusGrade.BRUNESCENT, white
    brunescent = _first(facts.get("brunescent"), either)
    if grade is NucleusGrade.UNKNOWN and brunescent is not Answer.UNKNOWN:
        grade = NucleusGrade.BRUNESCENT if brunescent is Answer.YES else NucleusGrade.MEDIUM
    if white is Answer.UNKNOWN and (either is Answer.NO or (types_name_white and grade is not NucleusGrade.UNKNOWN)):
        white = Answer.NO
    return grade, white


def _health(facts: Facts) -> Health:
    doxazosin = facts.get("doxazosin", Answer.UNKNOWN)
    blocker = AlphaBlocker(
        ever=doxazosin, drugs=("doxazosin",) if doxazosin is Answer.YES else (), taking_now=doxazosin
    )
    flat, diabetes = facts.get("can_lie_flat", Answer.UNKNOWN), facts.get("diabetes", Answer.UNKNOWN)
    return _nobody().health.model_copy(update={"alpha_blocker": blocker, "can_lie_flat": flat, "diabetes": diabetes})
