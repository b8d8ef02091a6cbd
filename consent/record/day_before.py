"""The sheet for the day before is not sealed: it carries the sign-off that holds, while it says what was signed off."""

from __future__ import annotations

from consent.case import Case
from consent.clinic import Clinic
from consent.pack import compose_pack
from consent.record.cases import read_case_state
from consent.record.place import Record
from consent.record.state import CONSENT, CaseState
from consent.review import SignOff

SHEET = "before-day"


def sign_off_that_holds(record: Record, case: CaseState) -> SignOff | None:
    """The sign-off that the sheet for the day before may carry; None while it is a draft.

    Hour and place are the clinic's, and change with the list. Anything else on the sheet that is not as it was when the
    surgeon signed makes it a draft again.
    """
    held = case.sealed(CONSENT)
    if held is None or case.state == "done":
        return None
    then = read_case_state(record, case.subject, held.sequence).case
    plan = then.plan.model_copy(update={"time": case.case.plan.time, "place": case.case.plan.place})
    same = _said(then.model_copy(update={"plan": plan}), record.clinic) == _said(case.case, record.clinic)
    sealed = next(told.entry.body["sealed"] for told in case.history if told.entry.sequence == held.sequence)
    return SignOff(held.by, sealed["registration"], held.at) if same else None


def _said(case: Case, clinic: Clinic) -> list[dict[str, tuple[str, ...]]]:
    one_version = case.model_copy(update={"version": 1})
    return [document.texts_by_language() for document in compose_pack(one_version, clinic, sheets=(SHEET,)).documents]
