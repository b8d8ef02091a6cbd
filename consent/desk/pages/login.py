"""Logging in and out, one's own password, the language of the pages."""

from __future__ import annotations

from typing import Any

from litestar import Response
from litestar.datastructures import Cookie
from litestar.response import Template

from consent.desk.access import ANYONE, LANGUAGE, SESSION
from consent.desk.form import Form
from consent.desk.here import Asked, Here
from consent.desk.routes import EVERYBODY, entered, shown
from consent.desk.told import fault
from consent.desk.words import interface_languages
from consent.errors import AccessError, UsageError
from consent.record.accounts import change_own_password
from consent.record.login import end_session, start_session


@shown("/login", ANYONE)
def show_login(here: Here) -> Template:
    return here.page("login.html", error=None, login="")


@entered("/login", ANYONE)
def log_in(here: Here, form: Form) -> Response[Any]:
    try:
        token = start_session(here.office.record, form.text("login"), form.raw("password"), here.place)
    except AccessError as error:
        return here.page("login.html", 403, error=error.problems[0], login=form.text("login"))
    answer = here.go("/")
    answer.set_cookie(_session_cookie(here, token))
    return answer


@entered("/logout", EVERYBODY, first_password=True)
def log_out(here: Here, request: Asked) -> Response[Any]:
    here.office.presence.left(here.me)
    end_session(here.office.record, request.cookies.get(SESSION, ""))
    answer = here.go("/login")
    answer.delete_cookie(SESSION)
    return answer


@shown("/password", EVERYBODY, first_password=True)
def show_password(here: Here) -> Template:
    return here.page("password.html", error=None)


@entered("/password", EVERYBODY, first_password=True)
def change_password(here: Here, form: Form) -> Response[Any]:
    me = here.me
    try:
        if form.raw("new") != form.raw("again"):
            return here.page("password.html", 422, error=fault("password.differ"))
        change_own_password(here.office.record, me, form.raw("old"), form.raw("new"))
    except (AccessError, UsageError) as error:
        return here.page("password.html", 422, error=error.problems[0])
    answer = here.go("/")
    answer.set_cookie(_session_cookie(here, start_session(here.office.record, me.login, form.raw("new"), here.place)))
    return answer


@entered("/language", ANYONE)
def choose_language(here: Here, form: Form) -> Response[Any]:
    wanted, back = form.text("language"), form.text("back")
    inside = back.startswith("/") and not back.startswith("//") and "\\" not in back
    answer = here.go(back if inside else "/")
    if wanted in interface_languages():
        answer.set_cookie(
            Cookie(LANGUAGE, value=wanted, httponly=True, samesite="lax", secure=here.office.settings.tls,
                   max_age=31_536_000)
        )  # fmt: skip
    return answer


def _session_cookie(here: Here, token: str) -> Cookie:
    return Cookie(SESSION, value=token, httponly=True, samesite="strict", secure=here.office.settings.tls, path="/")


HANDLERS = [show_login, log_in, log_out, show_password, change_password, choose_language]
