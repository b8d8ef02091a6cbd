"""How a page is declared: its path, who may ask for it, and that its work is done off the event loop."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from inspect import Parameter, signature
from typing import Annotated, Any, get_type_hints

from litestar import HttpMethod
from litestar.handlers import HTTPRouteHandler, route
from litestar.params import PathParameter, QueryParameter

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
        made: HTTPRouteHandler = route(path, http_method=method, opt=opt, status_code=200, **limits)(
            _in_a_thread(page, path)
        )
        return made

    return declare


def _in_a_thread(page: Page, path: str) -> Page:
    """``page`` as a coroutine that leaves its work to a thread, with where each of its parameters comes from."""

    async def run(**given: Any) -> Any:
        from anyio.to_thread import run_sync

        return await run_sync(partial(page, **given))

    hints = {name: _from(name, kind, path) for name, kind in get_type_hints(page, include_extras=True).items()}
    parameters = [
        one.replace(annotation=hints[name], kind=Parameter.KEYWORD_ONLY)
        for name, one in signature(page).parameters.items()
    ]
    run.__name__, run.__qualname__, run.__module__, run.__doc__ = (
        page.__name__,
        page.__qualname__,
        page.__module__,
        page.__doc__,
    )
    run.__annotations__ = hints
    run.__signature__ = signature(page).replace(  # type: ignore[attr-defined]
        parameters=parameters, return_annotation=hints.get("return", Any)
    )
    return run


_GIVEN = frozenset({"here", "form", "request", "return"})
"""What every page may ask for by name."""


def _from(name: str, kind: Any, path: str) -> Any:
    if name in _GIVEN:
        return kind
    return Annotated[kind, PathParameter() if f"{{{name}:" in path else QueryParameter()]
