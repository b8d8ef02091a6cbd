"""Which signed papers an entry makes void: those that would say something else if they were printed now."""

from __future__ import annotations

from consent.case import Case
from consent.clinic import Clinic
from consent.pack import BEFORE_SURGERY, FORM, SHEETS, Pack, compose_pack
from consent.record.moves import move
from consent.record.state import AFTERCARE, CONSENT, CaseState, SealedSet
from consent.review import Severity

FOR_THE_PATIENT = (FORM, "risk-sheet", "separate-choices", "decision")
"""What is sealed before surgery for the patient: the form with its parts, or the paper for a no."""
FOR_STAFF = ("counsellor-guide", "day-of-surgery", "surgeon-review")
"""What is sealed with it: what staff went by when it was signed, not held against later changes."""
_LATER = {"confirmation": None, "done": None, "day1": None, "drop_changes": ()}
"""What is only known after the consent papers were signed."""


def sheets_of(stage: str) -> tuple[str, ...]:
    """The sheets that are sealed at ``stage``, in the order of use.

    Not the sheet for before the day: hour and room change with the list, and no signature hangs on them.
    """
    if stage == CONSENT:
        return tuple(sheet for sheet in SHEETS if sheet in FOR_THE_PATIENT or sheet in FOR_STAFF)
    return SHEETS[len(BEFORE_SURGERY) :]


def voided_by(
    kind: str, before: CaseState, after: Case | None, clinic: Clinic
) -> tuple[SealedSet, tuple[str, ...]] | None:
    """The papers that an entry of ``kind`` makes void, and what of them it changes; None where all hold.

    ``after``: the case as it would be, or None where the entry leaves it.
    """
    how = move(kind).voids
    held = before.sealed(AFTERCARE if before.state == "done" else CONSENT)
    if how is None or held is None:
        return None
    if how == "always":
        return held, ()
    changed = () if after is None else changed_words(before.case, after, clinic, held.stage)
    return (held, changed) if changed else None


def changed_words(before: Case, after: Case, clinic: Clinic, stage: str) -> tuple[str, ...]:
    """What is signed at ``stage`` and is not the same of ``after`` as of ``before``: sheets by name, figures, plan.

    "points" where ``after`` raises one before surgery that a surgeon would have had to settle or answer. Both are
    composed by this program with these settings, so that a new version of either is not taken for a change of the case.
    """
    sheets = FOR_THE_PATIENT if stage == CONSENT else sheets_of(stage)
    packs = [compose_pack(_at(case, stage), clinic, sheets=sheets) for case in (before, after)]
    one, other = (_words(pack, stage) for pack in packs)
    unlike = [key[0] for key in sorted(one.keys() | other.keys()) if one.get(key) != other.get(key)]
    if stage == CONSENT and _waiting(packs[1]) - _waiting(packs[0]):
        unlike.append("points")
    return tuple(dict.fromkeys(unlike))


def _waiting(pack: Pack) -> set[str]:
    """The points that stand in the way of a sign-off."""
    return {point.key for point in pack.points if point.blocks or (point.severity is Severity.ASK and point.open)}


def _at(case: Case, stage: str) -> Case:
    return case.model_copy(update=_LATER) if stage == CONSENT else case


def _words(pack: Pack, stage: str) -> dict[tuple[str, str], object]:
    """What is signed: the words of each sheet in each language; before surgery the figures and the plan as well."""
    said: dict[tuple[str, str], object] = {
        (document.sheet, tag): texts
        for document in pack.documents
        if document.sheet != "surgeon-review"
        for tag, texts in document.texts_by_language().items()
    }
    if stage == CONSENT:
        risks = pack.assessment.risks.values()
        said |= {("figures", risk.outcome): (risk.probability, risk.interval, risk.usual) for risk in risks}
        said["plan", ""] = pack.assessment.case.plan.model_copy(update=_NOT_SIGNED)
    return said


_NOT_SIGNED = {"place": None, "time": None, "regimen": None}
"""Of the plan, beyond what the words tell: hour and room are on no sealed paper, the regimen is of the aftercare."""
