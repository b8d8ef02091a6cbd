"""Paper: sheets as the patient will see them, drafts to print, signed files to hand out."""

from __future__ import annotations

from typing import Any

from litestar import Response
from litestar.exceptions import NotFoundException
from litestar.response import Template

from consent.case import Answer
from consent.compose import Document
from consent.desk.entry_blocks import entry_blocks
from consent.desk.form import Form
from consent.desk.here import Here, Visitor
from consent.desk.routes import EVERYBODY, entered, shown
from consent.language import direction
from consent.pack import SHEETS
from consent.record.act import Act
from consent.record.entering import enter
from consent.record.moves import Role
from consent.record.papers import read_paper
from consent.record.state import CaseState

WHO = (Role.COUNSELLOR, Role.SURGEON, Role.THEATRE, Role.LEAD)
SECONDS_A_SHEET = 1.0
REASONS = ("patient", "lost", "theatre", "other")
AT_ONCE = {
    "talk": ("consent-form", "risk-sheet", "separate-choices", "counsellor-guide", "before-day"),
    "home": ("going-home", "drop-calendar", "not-to-plan", "referral-letter", "lens-card"),
}
"""Sheets that are printed together at one touch, as far as there are any for the case."""


@shown("/case/{subject:str}/sheet/{name:str}", WHO)
def show_sheet(here: Here, subject: str, name: str, tag: str = "") -> Template:
    """The sheet ``name`` as it will be printed, for the screen; ``tag`` where it comes once in each language."""
    case = here.office.shelf.case(subject)
    documents = [one for one in here.office.shelf.pack(case).documents if one.sheet == name]
    chosen = next((one for one in documents if one.languages[0][0] == tag), documents[0] if documents else None)
    if chosen is None:
        lacking = here.office.shelf.pack(case).lacking
        return here.page("sheet-lacking.html", 200 if lacking else 404, case=case, name=name, lacking=lacking)
    return here.page("sheet-view.html", document=chosen, langs=chosen.languages, rtl=_rtl(chosen), case=case)


def _rtl(document: Document) -> Any:
    from markupsafe import Markup

    def of(index: int) -> Markup:
        tag = document.languages[index][0]
        return Markup(f' dir="{direction(tag)}"')  # noqa: S704  fixed words only

    return of


@shown("/case/{subject:str}/papers", WHO)
def show_papers(here: Here, subject: str) -> Template:
    """Signed papers, those that hold first, and the sheets that can be printed as a draft."""
    case = here.office.shelf.case(subject)
    return _papers(here, case, large=case.erased is None and case.case.patient.large_print is Answer.YES)


def _papers(here: Visitor, case: CaseState, large: bool, lacking: bool = False, status: int = 200) -> Template:
    """``large``: large print is ticked; ``lacking``: nothing was chosen that could be printed."""
    documents = here.office.shelf.pack(case).documents if case.erased is None else ()
    names = [name for name in SHEETS if any(one.sheet == name for one in documents)]
    at_once = {name: found for name, sheets in AT_ONCE.items() if (found := [one for one in sheets if one in names])}
    values: dict[str, Any] = {"sets": sorted(case.sets, key=_holds_first), "reasons": REASONS, "at_once": at_once}
    return here.page("papers.html", status, case=case, names=names, large=large, lacking=lacking, **values)


def _holds_first(one: Any) -> tuple[bool, int]:
    return (not one.current, -one.sequence)


@entered("/case/{subject:str}/drafts", WHO)
def print_drafts(here: Here, form: Form, subject: str) -> Any:
    """Print the sheets ticked, or those of one set, as drafts; the waiting page shows them once they are done."""
    case = here.office.shelf.case(subject)
    large = form.text("large") == "yes"
    wanted = AT_ONCE.get(form.text("set"), form.texts("sheet"))
    sheets = tuple(name for name in SHEETS if name in wanted)
    if not sheets:
        return _papers(here, case, large, lacking=True, status=422)
    order = {"subject": case.subject, "sheets": sheets, "languages": (), "large": large}
    seconds = 2 + SECONDS_A_SHEET * len(sheets)
    piece = here.office.work.begin("drafts", order, here.me.id, "work.printing", seconds, f"/case/{subject}/papers")
    return here.go(f"/making/{piece.id}")


@entered("/case/{subject:str}/paper", WHO)
def hand_out(here: Here, form: Form, subject: str) -> Response[bytes]:
    """One signed file as it was kept; that it was taken out, and why, is an entry of the case."""
    case = here.office.shelf.case(subject)
    paper = next((one for made in case.sets for one in made.papers if one.digest == form.text("paper")), None)
    if paper is None:
        raise NotFoundException("there is no such paper of this case")
    content = read_paper(here.office.record, paper.digest)
    chosen = form.text("reason") if form.text("reason") in REASONS else "other"
    reason = f"{here.words.plain(f'papers.reason.{chosen}')}: {paper.sheet}"
    enter(here.office.record, here.me, subject, Act("reprinted", case.sequence, reason=reason))
    name = f"{paper.sheet}.{'-'.join(paper.languages)}.pdf"
    return Response(
        content, media_type="application/pdf", headers={"content-disposition": f'inline; filename="{name}"'}
    )


@shown("/case/{subject:str}/history", EVERYBODY)
def show_history(here: Here, subject: str) -> Template:
    """Every entry of the case, the newest first: when, who, what changed, in the words of the forms."""
    case: CaseState = here.office.shelf.case(subject)
    return here.page("history.html", case=case, blocks=entry_blocks(here, case))


HANDLERS = [show_sheet, show_papers, print_drafts, hand_out, show_history]
