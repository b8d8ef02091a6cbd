"""How one number was reached, a tap away from wherever it stands."""

from __future__ import annotations

from litestar.response import Template

from consent.compose.chain import chain_of
from consent.desk.here import Here
from consent.desk.reviewing import figure_of
from consent.desk.routes import CARE, shown
from consent.record.moves import Role


@shown("/case/{subject:str}/figure/{outcome:str}", CARE)
def show_figure(here: Here, subject: str, outcome: str) -> Template:
    case = here.office.shelf.case(subject)
    assessment = here.office.shelf.assessment(case)
    chain = chain_of(outcome, assessment.risks.values(), case.case, assessment.clinic)
    back = "review#numbers" if here.is_a(Role.SURGEON) else ""
    return here.page(
        "figure.html",
        case=case,
        chain=chain,
        figure=figure_of(here, chain.estimate, assessment),
        back=f"/case/{subject}/{back}".rstrip("/"),
    )


HANDLERS = [show_figure]
