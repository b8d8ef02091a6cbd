"""The case as it stood on the page that a form was sent from: what others entered since is not taken for one's own."""

from __future__ import annotations

from consent.desk.form import Sent
from consent.desk.here import Visitor
from consent.errors import ConflictError, Problem
from consent.record.cases import read_case_state
from consent.record.state import CaseState
from consent.wording import remark

SEEN = "seen"
"""Name of the hidden field that carries the last entry the person saw."""
SETTINGS = "rests-on"
"""Hidden field of a page that is signed: the clinic's settings it was made with."""


def refuse_other_settings(here: Visitor, form: Sent) -> None:
    """Raise ``ConflictError`` where the clinic's settings are not those that the page of ``form`` was made with."""
    if form.has(SETTINGS) and form.text(SETTINGS) != here.office.settings_print:
        raise ConflictError(
            Problem("the settings were changed meanwhile", SETTINGS, said=remark("problem.settings-unseen"))
        )


def as_seen(here: Visitor, subject: str, form: Sent) -> CaseState:
    """The case ``subject`` as the sender of ``form`` saw it. Raises ``RecordError`` where there is no such case."""
    now = here.office.shelf.case(subject)
    seen = form.whole(SEEN)
    if not 0 < seen < now.sequence:
        return now
    return read_case_state(here.office.record, subject, until=seen)
