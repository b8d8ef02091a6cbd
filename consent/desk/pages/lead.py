"""The clinic lead's pages: accounts, languages, backup, and where everything of the clinic is."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from typing import Any, Literal

from litestar import Response
from litestar.response import Template

from consent.desk.form import Form
from consent.desk.here import Here, Visitor
from consent.desk.office import BACKUP
from consent.desk.routes import entered, shown
from consent.desk.told import fault
from consent.errors import ConsentError, Problem, UsageError
from consent.language import DESK_DOMAIN, SIGNABLE, Counts, Rung, counts, inspect_catalogue, languages
from consent.record.accounts import (
    change_account,
    check_passphrase,
    close_account,
    make_account,
    read_accounts,
    set_password,
)
from consent.record.ledger import read_head
from consent.record.moves import Role
from consent.wording import remark

LEAD = (Role.LEAD,)
SECONDS_A_CASE = 0.02
"""What a case with its papers takes in a backup, measured; the bar follows it, nothing else does."""


@shown("/lead", LEAD)
def show_lead(here: Here) -> Template:
    with here.office.record.store.reading() as connection:
        head = read_head(connection, here.office.record.key)
        accounts = [one for one in read_accounts(connection, here.office.record.key).values() if not one.closed]
    lacking = [role for role in (Role.COUNSELLOR, Role.SURGEON) if not any(role in one.roles for one in accounts)]
    return here.page("lead.html", head=head, cases=len(here.office.shelf.cases()), lacking=lacking)


@shown("/lead/people", LEAD)
def show_people(here: Here, made: str = "") -> Template:
    """Everybody's accounts; ``made``: the login of one that was just made, which is told."""
    return _people(here, made=made)


@entered("/lead/people", LEAD)
def make_one(here: Here, form: Form) -> Any:
    """Make an account with a first password, which its owner has to change before anything else."""
    try:
        made = make_account(
            here.office.record,
            here.me.person,
            form.text("login").lower(),
            form.text("name"),
            _roles(form.texts("role")),
            form.raw("password"),
            form.text("registration") or None,
        )
    except ConsentError as error:
        return _people(here, error.problems, form, 422)
    return here.go(f"/lead/people?made={made.login}")


@entered("/lead/people/{login:str}", LEAD)
def change_one(here: Here, form: Form, login: str) -> Any:
    """Change, close, or give a new first password to the account ``login``."""
    record, me = here.office.record, here.me.person
    try:
        if form.text("do") == "close":
            close_account(record, me, login)
        elif form.text("do") == "password":
            if login == here.me.login:
                said = remark("problem.own-password")
                raise UsageError(Problem("your own password is changed on its own page", login, said=said))
            set_password(record, me, login, form.raw("password"))
        else:
            roles = _roles(form.texts("role"))
            change_account(record, me, login, form.text("name"), roles, form.text("registration"))
    except ConsentError as error:
        return _people(here, error.problems, form, 422, login)
    return here.go("/lead/people")


def _people(
    here: Visitor,
    problems: tuple[Problem, ...] = (),
    form: Any = None,
    status: int = 200,
    of: str = "",
    made: str = "",
) -> Template:
    """``form``: what was typed and not kept, for the account ``of``, or for a new one."""
    with here.office.record.store.reading() as connection:
        accounts = read_accounts(connection, here.office.record.key).values()
    open_ones = sorted((one for one in accounts if not one.closed), key=lambda one: one.name)
    closed = sorted((one for one in accounts if one.closed), key=lambda one: one.name)
    new = next((one for one in open_ones if one.login == made and not one.own), None)
    values: dict[str, Any] = {"problems": problems, "form": form, "of": of, "made": new}
    return here.page("people.html", status, accounts=open_ones, closed=closed, roles=list(Role), **values)


def _roles(given: tuple[str, ...]) -> tuple[Role, ...]:
    return tuple(role for role in Role if role.value in given)


@shown("/lead/languages", LEAD)
def show_languages(here: Here) -> Template:
    """Whether sheets in each language may be signed, and how far its words were checked; for the pages only whether
    they are all there."""
    reviewed = here.office.record.clinic.words_folder
    sheets = [_tongue(tag, counts(tag, reviewed=reviewed)) for tag in languages()]
    pages = [(tag, len(inspect_catalogue(tag, None, DESK_DOMAIN)[0].messages)) for tag in languages(domain=DESK_DOMAIN)]
    return here.page("languages.html", sheets=sheets, pages=pages, rungs=list(Rung), signable=SIGNABLE)


@dataclass(frozen=True)
class _Tongue:
    """One language of the sheets. ``unchecked``: how many words stand below the rung from which a sheet may be signed;
    ``may``: whether all sheets, some or none may."""

    tag: str
    state: Counts
    unchecked: int
    may: Literal["all", "some", "none"]


def _tongue(tag: str, state: Counts) -> _Tongue:
    unchecked = sum(count for rung, count in state.by_rung.items() if rung < SIGNABLE)
    may: Literal["all", "some", "none"] = "all" if not unchecked else "none" if unchecked == state.total else "some"
    return _Tongue(tag, state, unchecked, may)


@shown("/lead/backup", LEAD)
def show_backup(here: Here) -> Template:
    return here.page("backup.html", problem=None)


@entered("/lead/backup", LEAD)
def make_backup(here: Here, form: Form) -> Response[Any]:
    """The whole record, encrypted, as one file for the browser to keep."""
    passphrase = form.raw("passphrase")
    try:
        if passphrase != form.raw("again"):
            return here.page("backup.html", 422, problem=fault("backup.differ"))
        check_passphrase(passphrase)
    except UsageError as error:
        return here.page("backup.html", 422, problem=error.problems[0])
    order = {
        "to": tempfile.mkdtemp(prefix=BACKUP, dir=here.office.record.place.folder),
        "name": f"record-{here.office.now:%Y-%m-%d-%H%M}.consent-backup",
        "passphrase": passphrase,
    }
    seconds = 3 + len(here.office.shelf.cases()) * SECONDS_A_CASE
    piece = here.office.work.begin("backup", order, here.me.id, "work.backup", seconds, "/lead/backup")
    return here.go(f"/making/{piece.id}")


HANDLERS = [show_lead, show_people, make_one, change_one, show_languages, show_backup, make_backup]
