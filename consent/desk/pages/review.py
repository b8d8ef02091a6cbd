"""The surgeon's review of one case."""

from __future__ import annotations

from typing import Any

from litestar import Response
from litestar.response import Template

from consent.desk.here import Here, Visitor
from consent.desk.reviewing import Typed, review
from consent.desk.routes import shown
from consent.desk.since import LOOKED, since_look
from consent.record.act import Act
from consent.record.entering import enter
from consent.record.moves import Role
from consent.record.state import CaseState


@shown("/case/{subject:str}/review", (Role.SURGEON,))
def show_review(here: Here, subject: str) -> Response[Any]:
    case = here.office.shelf.case(subject)
    return here.go(f"/case/{subject}") if case.erased else review_page(here, _looked_at(here, case))


def review_page(here: Visitor, case: CaseState, typed: Typed | None = None, status: int = 200) -> Template:
    """The page of review, with what was typed before where it could not be recorded."""
    return here.page("review.html", status, page=review(here, case, typed or Typed()))


def _looked_at(here: Visitor, case: CaseState) -> CaseState:
    """The case with the entry that tells who looked at it, one for each sitting."""
    if since_look(case, here.me.id, here.office.now).in_sitting:
        return case
    act = Act(LOOKED, case.sequence, details={"what": "the surgeon's review"})
    return enter(here.office.record, here.me, case.subject, act).case


HANDLERS = [show_review]
