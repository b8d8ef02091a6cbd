"""How a page is declared: its path, who may ask for it, and that its work is done off the event loop."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial, wraps
from typing import Any

from litestar import HttpMethod
from litestar.handlers import HTTPRouteHandler, route

from consent.record.moves import Role

Page = Callable[..., Any]
Declared = Callable[[Page], HTTPRouteHandler]
EVERYBODY = tuple(Role)
"""Whoever is logged in."""
CARE = (Role.COUNSELLOR, Role.SURGEON, Role.LEAD)
"""Who enters cases."""


def shown(path: str, roles: Iterable[str], **more: Any) -> Declared:
    """A page that is looked at. ``roles``: those of the accounts that may."""
    return _declared(path, HttpMethod.GET, roles, more)


def entered(path: str, roles: Iterable[str], largest: int | None = None, **more: Any) -> Declared:
    """A form that is sent, of ``largest`` bytes where it takes a file. ``roles``: those of the accounts that may."""
    limit: dict[str, Any] = {} if largest is None else {"request_max_body_size": largest}
    return _declared(path, HttpMethod.POST, roles, more, **limit)


def _declared(path: str, method: HttpMethod, roles: Iterable[str], more: dict[str, Any], **limits: Any) -> Declared:
    opt = {"roles": frozenset(str(role) for role in roles), **more}

    def declare(page: Page) -> HTTPRouteHandler:
        made: HTTPRouteHandler = route(path, http_method=method, opt=opt, status_code=200, **limits)(_in_a_thread(page))
        return made

    return declare


def _in_a_thread(page: Page) -> Page:
    @wraps(page)
    async def run(**given: Any) -> Any:
        from anyio.to_thread import run_sync

        return await run_sync(partial(page, **given))

    return run
