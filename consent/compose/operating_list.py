"""The sheets of an operating day: the order, the lenses to pick, what to have ready, and who missed a visit."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Sequence

from consent.case import Answer, Asked, Case, ExtraStep, Lens
from consent.clinic import Clinic
from consent.compose.document import Block, Columns, Document, Line, Para, Section, Table
from consent.compose.form_plan import lens_remark
from consent.compose.frame import finish_list
from consent.compose.voice import Voice, joined
from consent.language import Quoted, Verbatim
from consent.review.assessment import Assessment

SHEET, MISSED = "operating-list", "missed-visits"
_LAST = ("infection.lid-or-sac", "infection.elsewhere")
_READY = {
    "dye": "dye",
    "pupil_expansion": "pupil-device",
    "capsular_tension_ring": "ring",
}
_STEPS = {
    ExtraStep.PUPIL_DEVICE: "pupil-device",
    ExtraStep.CAPSULE_RING: "ring",
    ExtraStep.ANTERIOR_VITRECTOMY: "vitrector",
    ExtraStep.STITCH: "suture",
}


def in_order(list_of_day: Iterable[Assessment]) -> tuple[Assessment, ...]:
    """Return the patients in the order proposed: only eyes first, infected ones last, else by time and record number.

    Common practice, no source.
    """
    return tuple(sorted(list_of_day, key=_place))


def _place(assessment: Assessment) -> tuple[int, dt.time, str]:
    plan = assessment.case.plan
    rank = 2 if _is_infected(assessment) else 0 if _is_only_eye(assessment) else 1
    return rank, plan.time or dt.time.max, assessment.case.patient.record_number


def _is_only_eye(assessment: Assessment) -> bool:
    return any(point.id == "only-eye" for point in assessment.points)


def _is_infected(assessment: Assessment) -> bool:
    return any(point.id in _LAST for point in assessment.points)


def operating_list(list_of_day: Sequence[Assessment], day: dt.date, voice: Voice) -> Document:
    """The composed list of ``day``, in the clinic's language. ``list_of_day`` holds at least one patient."""
    patients = in_order(list_of_day)
    bottles = _bottles(patients, voice)
    sections = (
        Section("order", voice.line("list.order.heading"), (_order(patients, voice),)),
        Section("lenses", voice.line("list.lenses.heading"), tuple(_lenses(patients, voice))),
        Section("ready", voice.line("list.ready.heading"), (Columns((_ready(patients, voice),), (bottles,)),)),
    )
    title = voice.line("list.title", date=day)
    invented = any(patient.case.invented for patient in patients)
    return finish_list(voice, patients[0].clinic, SHEET, title, day, invented, sections)


def _order(patients: Sequence[Assessment], voice: Voice) -> Table:
    head = tuple(voice.line(f"list.head.{name}") for name in ("place", "patient", "eye", "lens", "ready", "look-out"))
    return Table(head, tuple(_row(place, patient, voice) for place, patient in enumerate(patients, 1)), style="order")


def _row(place: int, assessment: Assessment, voice: Voice) -> tuple[Line, ...]:
    case, plan = assessment.case, assessment.case.plan
    who = [voice.quoted(case.patient.name), voice.show(case.patient.record_number)]
    if plan.time is not None:
        who.append(voice.show(plan.time))
    operation = [voice.line(f"operation.{plan.operation}")]
    if plan.anaesthesia is not None:
        operation.append(voice.line(f"anaesthesia.{plan.anaesthesia}"))
    eye = joined([voice.line(f"eye.{case.eye.side}"), *operation], "; ")
    lens = voice.line("value.lens-not-chosen") if plan.lens is None else voice.remark(lens_remark(plan.lens))
    others = [voice.remark(lens_remark(other)) for other in plan.fallback_lenses]
    lenses = joined([lens, *others], " → ")
    ready = joined([voice.line(f"list.ready.{name}") for name in _have_ready(case)], ", ")
    return (voice.show(place), joined(who, ", "), eye, lenses, ready, joined(_look_out(assessment, voice), "; "))


def _have_ready(case: Case) -> list[str]:
    planned = [name for key, name in _READY.items() if getattr(case.plan, key) is Answer.YES]
    foreseen = [name for step, name in _STEPS.items() if step in case.agreed_steps]
    return list(dict.fromkeys([*planned, *foreseen])) or ["nothing"]


def _look_out(assessment: Assessment, voice: Voice) -> list[Line]:
    """Why the patient is first or last, allergies, blood thinners, an open stop."""
    health = assessment.case.health
    lines = []
    if _is_only_eye(assessment):
        lines.append(voice.line("list.only-eye"))
    if _is_infected(assessment):
        lines.append(voice.line("list.infected"))
    if health.allergies.asked is Asked.NOT_ASKED:
        lines.append(voice.line("list.allergies-not-asked"))
    if health.allergies.known:
        names = Quoted(", ".join(entry.substance for entry in health.allergies.known))
        lines.append(voice.line("list.allergy", substances=names))
    thinners = [name for name in ("anticoagulant", "antiplatelet") if getattr(health, name) is Answer.YES]
    lines += [voice.line(f"letter.thinner.{name}") for name in thinners]
    stops = sum(point.open and point.severity == "stop" for point in assessment.points)
    if stops:
        lines.append(voice.count("list.stops", stops))
    return lines or [voice.line("list.nothing")]


def _lenses(patients: Sequence[Assessment], voice: Voice) -> Iterable[Block]:
    """Each lens of the day against the shelf, first choices before second ones."""
    first = [(patient, patient.case.plan.lens) for patient in patients]
    second = [(patient, lens) for patient in patients for lens in patient.case.plan.fallback_lenses]
    head = tuple(voice.line(f"list.head.{name}") for name in ("lens", "material", "patient", "shelf", "taken"))
    for choice, lenses in (("first", first), ("second", second)):
        rows = tuple(_pick(patient, lens, voice) for patient, lens in lenses if lens is not None)
        if rows:
            yield Para(voice.line(f"list.lenses.{choice}"), style="strong")
            yield Table(head, rows, style="picks")


def _pick(assessment: Assessment, lens: Lens, voice: Voice) -> tuple[Line, ...]:
    case = assessment.case
    who = joined([voice.quoted(case.patient.name), voice.line(f"eye.{case.eye.side}")], ", ")
    named = joined([voice.remark(lens_remark(lens)), voice.line(f"place.{lens.place}")], ", ")
    shelf = voice.line(f"list.shelf.{lens.on_shelf}")
    return named, voice.quoted(lens.material), who, shelf, voice.show(Verbatim("____"))


def _ready(patients: Sequence[Assessment], voice: Voice) -> Table:
    counts = Counter(name for patient in patients for name in _have_ready(patient.case) if name != "nothing")
    head = (voice.line("list.head.ready"), voice.line("list.head.patients"))
    rows = tuple((voice.line(f"list.ready.{name}"), voice.show(count)) for name, count in counts.most_common())
    return Table(head, rows or ((voice.line("list.ready.nothing"), voice.show(0)),), style="counts")


def _bottles(patients: Sequence[Assessment], voice: Voice) -> Table:
    """Bottles and tubes to hand out, by drug."""
    counts: Counter[str] = Counter()
    for patient in patients:
        for supply in patient.drops.supplies:
            counts[supply.drug.name] += supply.count
    head = (voice.line("list.head.drug"), voice.line("list.head.count"))
    rows = tuple((voice.show(Verbatim(name)), voice.show(count)) for name, count in sorted(counts.items()))
    return Table(head, rows or ((voice.line("list.nothing"), voice.show(0)),), style="counts")


def missed_visits(cases: Sequence[Case], clinic: Clinic, today: dt.date, voice: Voice) -> Document:
    """The composed list of visits before ``today`` that nobody has ticked as kept, oldest first.

    A visit where the patient was sent on is one of them.
    """
    past = ((visit, case) for case in cases for visit in case.all_visits if visit.date < today)
    missed = [(visit, case) for visit, case in past if visit.kept is not Answer.YES]
    found = sorted(missed, key=lambda pair: (pair[0].date, pair[1].patient.record_number))
    head = tuple(voice.line(f"list.head.{name}") for name in ("was-due", "why", "patient", "call", "said"))
    rows = tuple(
        (
            voice.show(visit.date),
            voice.line(f"visit.{visit.kind}"),
            joined([voice.quoted(case.patient.name), voice.show(case.patient.record_number)], ", "),
            _call(case, voice),
            voice.show(Verbatim("________________")),
        )
        for visit, case in found
    )
    blocks: tuple[Block, ...] = (Para(voice.line("list.missed.none")),)
    if rows:
        blocks = (Para(voice.line("list.missed.how")), Table(head, rows, style="missed"))
    title = voice.line("list.missed.title", date=today)
    invented = any(case.invented for case in cases)
    return finish_list(voice, clinic, MISSED, title, today, invented, (Section("missed", None, blocks),))


def _call(case: Case, voice: Voice) -> Line:
    """The telephone, and that it is shared: then no illness is named."""
    if case.patient.telephone is None:
        return voice.line("value.not-entered")
    number = voice.show(Verbatim(case.patient.telephone))
    shared = case.patient.telephone_shared
    if shared is Answer.NO:
        return number
    return joined([number, voice.line("list.shared" if shared is Answer.YES else "list.shared-unknown")], "; ")
