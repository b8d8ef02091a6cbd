"""The address of a patient's page: it cannot be guessed, tells nothing, and holds as long as its papers."""

from __future__ import annotations

import re
from collections.abc import Iterable

from consent.record.keys import MasterKey
from consent.record.moves import State
from consent.record.state import AFTERCARE, CONSENT, CaseState, SealedSet

_TOKEN = re.compile(r"[0-9a-f]{64}")
_AGREED = (State.CONSENTED, State.CONFIRMED)
_OPERATED = (State.DONE, State.CLOSED)


def papers_for_phone(case: CaseState) -> SealedSet | None:
    """The papers that the patient goes by now: those for home once there are any, before surgery what was agreed to.

    None where none hold: not agreed yet, taken back, void, operated without papers for home, or erased.
    """
    if case.erased is not None:
        return None
    if case.state in _OPERATED:
        return case.sealed(AFTERCARE)
    return case.sealed(CONSENT) if case.state in _AGREED else None


def token_of(key: MasterKey, case: CaseState, papers: SealedSet) -> str:
    """The token of the page that shows what ``papers`` say: 64 hexadecimal signs that only who has the key can make."""
    return key.stamp("phone", case.subject, papers.code)


def find_by_token(key: MasterKey, cases: Iterable[CaseState], token: str) -> tuple[CaseState, SealedSet] | None:
    """The case and the papers that hold for which ``token`` was made; None for any other text."""
    if _TOKEN.fullmatch(token) is None:
        return None
    found = None
    for case in cases:
        papers = papers_for_phone(case)
        if papers is not None and key.stamped(token, "phone", case.subject, papers.code):
            found = case, papers
    return found
