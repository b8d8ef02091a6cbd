"""A request as it came in, from a browser or not: what cannot be a form is refused, and nothing sent is remembered."""

from __future__ import annotations

from secrets import compare_digest
from typing import Any
from urllib.parse import parse_qsl

from litestar import Request
from litestar.datastructures import Headers, State
from litestar.datastructures.multi_dicts import FormMultiDict
from litestar.enums import RequestEncodingType
from litestar.exceptions import ClientException
from litestar.middleware.csrf import CSRF_SECRET_LENGTH, generate_csrf_hash

FORM_COOKIE, FORM_HEADER, FORM_FIELD = "consent-form", "x-form-token", "_csrf_token"
"""Where the token of the forms is kept, and the two ways in which it comes with one."""
ME = "me"
"""Hidden field of every form: the account whose page it is."""
MOST_FIELDS = 600


class Incoming(Request[Any, Any, State]):
    """The framework's request, for whatever strangers may send."""

    @property
    def headers(self) -> Headers:
        """The headers; a token of forms that cannot be one is not there."""
        found = super().headers
        if found.get(FORM_HEADER, "").isascii():
            return found
        return Headers({name: value for name, value in found.items() if name != FORM_HEADER})

    @property
    def cookies(self) -> dict[str, str]:
        """The cookies; a token of forms that another key has made, or nobody, is not there, and a new one is given."""
        found = super().cookies
        if self._is_token(found.get(FORM_COOKIE, "")):
            return found
        return {name: value for name, value in found.items() if name != FORM_COOKIE}

    def _is_token(self, token: str) -> bool:
        secret = self.app.state.office.form_secret
        random, stamp = token[:CSRF_SECRET_LENGTH], token[CSRF_SECRET_LENGTH:]
        return token.isascii() and compare_digest(stamp, generate_csrf_hash(random, secret))

    async def form(self) -> FormMultiDict:
        """What was sent. The framework would keep the last thousand forms, passwords and all, to read them faster.

        Raises ``ClientException`` where it is no form.
        """
        if self.content_type[0] == RequestEncodingType.URL_ENCODED:
            return FormMultiDict(_fields((await self.body()).decode("latin-1")))
        try:
            sent = await super().form()
        except (UnicodeDecodeError, LookupError) as failure:
            raise ClientException("this is not the text of a form") from failure
        return FormMultiDict([(name, value) for name, value in sent.multi_items() if _may_be(name, value)])


def _fields(body: str) -> list[tuple[str, str]]:
    try:
        sent = parse_qsl(body, keep_blank_values=True, max_num_fields=MOST_FIELDS)
    except ValueError as failure:
        raise ClientException("more was sent than a form can hold", status_code=413) from failure
    return [(name, value) for name, value in sent if _may_be(name, value)]


def _may_be(name: str, value: Any) -> bool:
    return name != FORM_FIELD or (isinstance(value, str) and value.isascii())
