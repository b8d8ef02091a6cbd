"""Where each person begins."""

from __future__ import annotations

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


HANDLERS = [begin]
