"""Who is asking, and whether the page is theirs: every route names its roles, and one without them answers nobody."""

from __future__ import annotations

from typing import Any

from litestar.connection import ASGIConnection
from litestar.exceptions import NotAuthorizedException, NotFoundException, PermissionDeniedException
from litestar.handlers.base import BaseRouteHandler
from litestar.middleware import AbstractAuthenticationMiddleware, AuthenticationResult

from consent.desk.office import Office
from consent.errors import AccessError
from consent.record.accounts import Account
from consent.record.login import session_account

SESSION, LANGUAGE = "consent-session", "consent-language"
"""Names of the cookies: the token of the session, and the language of the pages."""
_LONGEST_NAME = 80
ANYONE = frozenset({"anyone"})
"""In place of roles, on what is open to somebody who is not logged in."""


class WhoAsks(AbstractAuthenticationMiddleware):
    """Puts the account of the session on the connection; nobody where there is none, or where it has ended."""

    async def authenticate_request(self, connection: ASGIConnection[Any, Any, Any, Any]) -> AuthenticationResult:
        from anyio.to_thread import run_sync

        token = connection.cookies.get(SESSION)
        office: Office = connection.app.state.office
        by_itself = connection.headers.get("x-asked-by") == "page"
        return AuthenticationResult(await run_sync(_account, office, token, by_itself) if token else None, token)


def _account(office: Office, token: str, by_itself: bool) -> Account | None:
    """The account of the session; a page that asks ``by_itself`` does not keep it alive: nobody may be there."""
    try:
        return session_account(office.record, token, is_step=not by_itself)
    except AccessError:
        return None


def can_be_a_path(connection: ASGIConnection[Any, Any, Any, Any], _: BaseRouteHandler) -> None:
    """Raise where the address holds signs that no page or file of ours has in its own, or a name too long for any."""
    path = connection.scope["path"]
    if not path.isprintable() or any(len(name) > _LONGEST_NAME for name in path.split("/")):
        raise NotFoundException("there is no such page")


def may_enter(connection: ASGIConnection[Any, Any, Any, Any], handler: BaseRouteHandler) -> None:
    """Raise unless the roles of the route are those of the account, or it is open to anyone."""
    roles: frozenset[str] = handler.opt.get("roles", frozenset())
    if roles == ANYONE:
        return
    account: Account | None = connection.user
    if account is None:
        raise NotAuthorizedException("log in first")
    if not account.own and not handler.opt.get("first_password"):
        raise NotAuthorizedException("choose a password of your own first", extra={"to": "password"})
    if not roles & {role.value for role in account.roles}:
        raise PermissionDeniedException("this page is not part of your work here")
