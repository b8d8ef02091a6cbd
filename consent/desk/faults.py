"""What a person sees when something cannot be done: what, where, why, and what to do; never a trace of the program."""

from __future__ import annotations

import logging
from typing import Any

from litestar import Request, Response
from litestar.exceptions import HTTPException, NotAuthorizedException
from litestar.response import Redirect, Template
from litestar.status_codes import HTTP_303_SEE_OTHER, HTTP_500_INTERNAL_SERVER_ERROR

from consent.desk.here import here
from consent.desk.told import told
from consent.errors import (
    AbsentError,
    AccessError,
    CaseError,
    ClinicError,
    ConflictError,
    ConsentError,
    MoveError,
    PaperError,
    Problem,
    UsageError,
)
from consent.logs import where

log = logging.getLogger("consent.desk")

_STATUS: tuple[tuple[type[ConsentError], int], ...] = (
    (AccessError, 403),
    (ConflictError, 409),
    (MoveError, 409),
    (CaseError, 422),
    (ClinicError, 422),
    (UsageError, 422),
    (PaperError, 404),
    (AbsentError, 404),
)


def status_of(error: ConsentError) -> int:
    """The HTTP status of an error of the family; 503 for what a person at the desk cannot mend."""
    return next((status for kind, status in _STATUS if isinstance(error, kind)), 503)


def on_consent_error(request: Request[Any, Any, Any], error: ConsentError) -> Response[Any]:
    """The page that names every problem of ``error``."""
    return _page(request, status_of(error), "fault.heading", error.problems)


def on_http_error(request: Request[Any, Any, Any], error: HTTPException) -> Response[Any]:
    """Send somebody who is not logged in to do so; else a page that says what is wrong with the request."""
    if isinstance(error, NotAuthorizedException):
        to = "/password" if isinstance(error.extra, dict) and error.extra.get("to") == "password" else "/login"
        if request.headers.get("x-asked-by") in ("script", "page"):
            return Response({"login": to}, status_code=401)
        return Redirect(to, status_code=HTTP_303_SEE_OTHER)
    status = error.status_code
    words = f"fault.{status}" if status in _SAID else "fault.other"
    return _page(request, status, words, ())


_SAID = frozenset({403, 404, 405, 413, 429})


def on_any_error(request: Request[Any, Any, Any], error: Exception) -> Response[Any]:
    """A page that says that the fault is ours; the log names the kind of fault and the route, and nobody's data."""
    route = request.scope.get("path_template", "unknown")
    facts = {"kind": type(error).__name__, "route": route, "where": where(error.__traceback__)}
    log.error("fault", extra={"facts": facts})
    return _page(request, HTTP_500_INTERNAL_SERVER_ERROR, "fault.ours", ())


def _page(request: Request[Any, Any, Any], status: int, heading: str, problems: tuple[Problem, ...]) -> Response[Any]:
    asking = here(request)
    if asking.from_script:
        # A script puts it into the page as it is, so it leaves as HTML, as all else that scripts are told.
        said = (told(one, asking.words) for one in problems)
        shown = [{"what": str(one.what), "where": str(one.where), "remedy": str(one.remedy)} for one in said]
        return Response({"fault": asking.words.plain(heading), "problems": shown}, status_code=status)
    page: Template = asking.page("fault.html", status, heading=heading, problems=problems)
    return page
