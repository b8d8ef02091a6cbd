"""The application: routes, guards, and what surrounds each request."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

from litestar import Litestar, Request
from litestar.config.allowed_hosts import AllowedHostsConfig
from litestar.config.csrf import CSRFConfig
from litestar.di import Provide
from litestar.exceptions import HTTPException
from litestar.middleware import DefineMiddleware
from litestar.middleware.rate_limit import RateLimitConfig
from litestar.plugins.jinja import JinjaTemplateEngine
from litestar.static_files import create_static_files_router
from litestar.stores.memory import MemoryStore
from litestar.template import TemplateConfig

from consent.desk.access import WhoAsks, can_be_a_path, may_enter
from consent.desk.faults import on_any_error, on_consent_error, on_http_error
from consent.desk.form import read_form
from consent.desk.headers import with_headers
from consent.desk.here import here
from consent.desk.incoming import FORM_COOKIE, FORM_HEADER, Incoming
from consent.desk.measured import REQUESTS
from consent.desk.office import DeskSettings, Office
from consent.desk.pages import handlers
from consent.desk.views import environment
from consent.errors import ConsentError
from consent.record.place import Record
from consent.resources import templates

LARGEST_FORM = 300_000
"""Bytes of one form; a route that takes a file says how much more."""


def make_app(record: Record, settings: DeskSettings) -> Litestar:
    """The pages of ``record``, ready to be served. Closing the application closes the record."""
    office = Office(record, settings)
    return Litestar(
        route_handlers=[*handlers(), _static("/static", "desk", "static"), _static("/styles", "styles")],
        dependencies={"here": Provide(here, sync_to_thread=False), "form": Provide(read_form)},
        guards=[can_be_a_path, may_enter],
        middleware=[REQUESTS.middleware, DefineMiddleware(WhoAsks), _limit(settings).middleware],
        request_class=Incoming,
        csrf_config=_csrf(office, settings),
        allowed_hosts=AllowedHostsConfig(allowed_hosts=list(settings.hosts)),
        exception_handlers={
            ConsentError: on_consent_error,
            HTTPException: on_http_error,
            Exception: on_any_error,
        },
        template_config=TemplateConfig(instance=JinjaTemplateEngine.from_environment(environment())),
        request_max_body_size=LARGEST_FORM,
        openapi_config=None,
        logging_config=None,
        debug=False,
        on_shutdown=[office.close],
        lifespan=[_forgetting],
        state=_state(office),
        response_headers=[],
    )


@asynccontextmanager
async def _forgetting(app: Litestar) -> AsyncIterator[None]:
    """While it serves, requests that no longer count are forgotten every minute; the framework would keep them."""

    kept = app.stores.get("rate_limit")
    if not isinstance(kept, MemoryStore):
        raise TypeError("requests are counted in memory")

    async def forget() -> None:
        while True:
            await asyncio.sleep(_FORGET_EVERY)
            await kept.delete_expired()

    task = asyncio.create_task(forget())
    try:
        yield
    finally:
        task.cancel()


_FORGET_EVERY = 60.0


def served(app: Litestar, settings: DeskSettings) -> Any:
    """``app`` with the headers that every answer carries, errors of the framework among them."""
    return with_headers(app, settings.tls)


def _state(office: Office) -> Any:
    from litestar.datastructures import State

    return State({"office": office}, deep_copy=False)


def _csrf(office: Office, settings: DeskSettings) -> CSRFConfig:
    """A token in a cookie and in each form, held together by a secret made of the record's key."""
    return CSRFConfig(
        secret=office.form_secret,
        cookie_name=FORM_COOKIE,
        cookie_secure=settings.tls,
        cookie_httponly=True,
        cookie_samesite="strict",
        header_name=FORM_HEADER,
    )


def _limit(settings: DeskSettings) -> RateLimitConfig:
    return RateLimitConfig(
        rate_limit=("minute", settings.requests_a_minute),
        identifier_for_request=_asking,
        exclude=[r"^/static/", r"^/styles/"],
        set_rate_limit_headers=False,
    )


def _asking(request: Request[Any, Any, Any]) -> str:
    """Whoever asks: the account of somebody logged in, else the address; a cookie of nobody's is nobody."""
    account = request.user if "user" in request.scope else None
    client = request.client.host if request.client else "unknown"
    return account.id if account is not None else client


def _static(path: str, *folders: str) -> Any:
    return create_static_files_router(
        path=path,
        directories=[templates().joinpath(*folders)],
        opt={"roles": frozenset({"anyone"})},
        cache_control=None,
    )
