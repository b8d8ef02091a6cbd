"""The case as it stood on the page that a form was sent from: what others entered since is not taken for one's own."""

from __future__ import annotations

from consent.desk.form import Sent
from consent.desk.here import Visitor
from consent.record.cases import read_case_state
from consent.record.state import CaseState

SEEN = "seen"
"""Name of the hidden field that carries the last entry the person saw."""


def as_seen(here: Visitor, subject: str, form: Sent) -> CaseState:
    """The case ``subject`` as the sender of ``form`` saw it. Raises ``RecordError`` where there is no such case."""
    now = here.office.shelf.case(subject)
    seen = form.whole(SEEN)
    if not 0 < seen < now.sequence:
        return now
    return read_case_state(here.office.record, subject, until=seen)
