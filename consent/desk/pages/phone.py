"""The patient's page: opened on their telephone by a code, or taken home as a file; and where staff hand it out."""

from __future__ import annotations

import ipaddress
from typing import Any

from litestar import Response
from litestar.response import Template

from consent.desk.access import ANYONE
from consent.desk.form import Form
from consent.desk.here import Here, Visitor
from consent.desk.phone_file import file_html, file_name, page_html
from consent.desk.phone_page import call, language_for, phone_page
from consent.desk.phone_same import same_as_signed
from consent.desk.phone_token import find_by_token, papers_for_phone, token_of
from consent.desk.routes import CARE, entered, shown
from consent.desk.words import words_in
from consent.errors import PaperError, Problem
from consent.language import Quoted, languages
from consent.pack import Pack
from consent.record.act import Act
from consent.record.entering import enter
from consent.record.moves import Role
from consent.record.state import CaseState, SealedSet
from consent.wording import remark

MAKERS = (Role.COUNSELLOR, Role.SURGEON)
_GONE = 404


@shown("/phone/{token:str}", ANYONE)
def show_theirs(here: Here, token: str) -> Response[Any]:
    """The patient's own page, as long as the papers hold that it stands for; else whom to ask. It names nobody then."""
    found = find_by_token(here.office.record.key, here.office.shelf.cases(), token)
    if found is None:
        return _gone(here)
    case, papers = found
    pack, tag = _pack(here, case)
    if not same_as_signed(here.office.record, papers, pack, tag):
        return _gone(here)
    html = page_html(phone_page(pack, papers, tag), here.office.now)
    return Response(html, media_type="text/html; charset=utf-8")


def _pack(here: Visitor, case: CaseState) -> tuple[Pack, str]:
    pack = here.office.shelf.pack(case)
    return pack, language_for(pack.assessment)


def _gone(here: Visitor) -> Template:
    clinic = here.office.record.clinic
    calls = ((call(clinic.telephone.day), "theirs.call-day"), (call(clinic.telephone.night), "theirs.call-night"))
    # The code tells nobody's language: every one that patients read, the browser's first.
    tags = dict.fromkeys((here.words.tag, *languages()))
    every = [words_in(tag, "latin" if here.office.digits == "latin" else "locale", mirrored=False) for tag in tags]
    return here.page("phone-gone.html", _GONE, clinic=clinic, calls=calls, every=every)


@shown("/case/{subject:str}/phone", CARE)
def show_handing_out(here: Here, subject: str) -> Template:
    """The code for the patient's telephone, and the button that makes the file."""
    case = here.office.shelf.case(subject)
    papers = papers_for_phone(case)
    if papers is None:
        return here.page("phone-staff.html", case=case, papers=None)
    pack, tag = _pack(here, case)
    same = same_as_signed(here.office.record, papers, pack, tag)
    path = f"/phone/{token_of(here.office.record.key, case, papers)}"
    loopback = _is_this_machine(here.office.settings.names[0])
    # A code that no telephone can open is not shown.
    qr = None if loopback else _code(here.office.settings.address + path)
    values: dict[str, Any] = {"same": same, "tag": tag, "path": path, "qr": qr, "command": Quoted(_SERVE)}
    return here.page("phone-staff.html", case=case, papers=papers, **values)


_SERVE = "consent serve --host … --name … --tls"
"""How the desk is started for the clinic's network."""


def _code(address: str) -> str:
    import segno

    return segno.make_qr(address, error="m").svg_inline(border=4, svgclass="code", lineclass=None, omitsize=True)


def _is_this_machine(name: str) -> bool:
    try:
        return ipaddress.ip_address(name).is_loopback
    except ValueError:
        return name == "localhost"


@entered("/case/{subject:str}/phone-file", MAKERS)
def make_file(here: Here, subject: str, form: Form) -> Response[bytes]:
    """The page as one file to be sent; that it was made is recorded."""
    del form
    case = here.office.shelf.case(subject)
    papers = papers_for_phone(case)
    pack, tag = _pack(here, case) if papers else (None, "")
    if papers is None or pack is None or not same_as_signed(here.office.record, papers, pack, tag):
        raise _nothing(case)
    page = phone_page(pack, papers, tag)
    content = file_html(page, here.office.today).encode()
    _keep_trace(here, case, papers)
    headers = {"content-disposition": f'attachment; filename="{file_name(page)}"'}
    return Response(content, media_type="text/html; charset=utf-8", headers=headers)


def _keep_trace(here: Visitor, case: CaseState, papers: SealedSet) -> None:
    what = f"the file for the patient's telephone was made: {papers.stage}, version {papers.version}"
    enter(here.office.record, here.me, case.subject, Act("looked-at", case.sequence, details={"what": what}))


def _nothing(case: CaseState) -> PaperError:
    return PaperError(
        Problem(
            "there are no signed papers that hold and say the same as the page would",
            case.subject,
            "a telephone would show drops that nobody signed",
            "let papers for home be signed first",
            remark("problem.no-papers-that-hold"),
        )
    )


HANDLERS = [show_theirs, show_handing_out, make_file]
