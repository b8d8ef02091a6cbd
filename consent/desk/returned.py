"""Why a case came back: the words of whoever sent it, for everybody who works on it until it is told anew."""

from __future__ import annotations

from consent.record.state import CaseState, Told

_BACK = frozenset({"sent-back", "voided", "not-confirmed"})


def returned(case: CaseState) -> Told | None:
    """The entry that sent ``case`` back, while it stands where that put it; none where nothing did."""
    before = ""
    found: Told | None = None
    for told in case.history:
        state = str(told.entry.body["state"])
        if told.entry.kind in _BACK:
            found = told
        elif state != before:
            found = None
        before = state
    return found if found is not None and found.details.get("reason") else None
