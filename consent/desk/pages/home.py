"""Where each person begins."""

from __future__ import annotations

from typing import Any

from litestar import Response
from litestar.response import Redirect

from consent.desk.here import Here
from consent.desk.routes import EVERYBODY, shown
from consent.record.moves import Role

BEGINS = {
    Role.COUNSELLOR: "/cases",
    Role.SURGEON: "/surgeon",
    Role.THEATRE: "/theatre",
    Role.LEAD: "/lead",
    Role.AUDITOR: "/ledger",
}


@shown("/", EVERYBODY)
def begin(here: Here) -> Redirect:
    return here.go(next(path for role, path in BEGINS.items() if here.is_a(role)))


@shown("/in", EVERYBODY, first_password=True)
def still_in(here: Here) -> Response[Any]:
    """Who is logged in; a page asks before it sends what was typed."""
    return Response({"me": here.me.id})


HANDLERS = [begin, still_in]
