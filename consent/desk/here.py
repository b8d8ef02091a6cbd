"""One request: who asks, in which language, and how a page is made for them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from litestar import MediaType, Request
from litestar.datastructures import State
from litestar.di import NamedDependency
from litestar.params import SkipValidation
from litestar.response import Redirect, Template
from litestar.status_codes import HTTP_303_SEE_OTHER

from consent.desk.access import LANGUAGE
from consent.desk.near import is_loopback
from consent.desk.office import Office
from consent.desk.views import environment
from consent.desk.words import Words, interface_languages, words_in
from consent.record.accounts import Account
from consent.record.moves import Role

Asked = Request[Any, Any, State]


@dataclass(frozen=True)
class Visitor:
    """What a page is made with. ``account`` is nobody on pages that are open to anyone; ``is_near``: asked on this
    machine itself; ``place``: the address of the device."""

    office: Office
    account: Account | None
    words: Words
    path: str
    from_script: bool = False
    is_near: bool = False
    place: str = ""

    @property
    def me(self) -> Account:
        """Who is logged in; only asked for on pages that need somebody."""
        if self.account is None:
            raise TypeError("this page asks for nobody's account")
        return self.account

    def is_a(self, *roles: Role) -> bool:
        """Whether whoever asks has one of ``roles``."""
        return self.account is not None and any(role in self.account.roles for role in roles)

    def page(self, template: str, /, status: int = 200, **values: Any) -> Template:
        """The page ``template`` of templates/desk, in the language of whoever asks."""
        return Template(template, context={"here": self, "say": self.words.say, "words": self.words, **values},
                        status_code=status, media_type=MediaType.HTML)  # fmt: skip

    def drawn(self, template: str, /, **values: Any) -> str:
        """A piece of a page, for a script to put in place."""
        return environment().get_template(template).render(here=self, say=self.words.say, words=self.words, **values)

    def go(self, path: str) -> Redirect:
        """Send the browser on to ``path`` after something was entered."""
        return Redirect(path, status_code=HTTP_303_SEE_OTHER)


Here = NamedDependency[SkipValidation[Visitor]]
"""How a page asks for its visitor."""


def here(request: Asked) -> Visitor:
    """The request as pages see it."""
    office: Office = request.app.state.office
    account = request.user if "user" in request.scope else None
    tag = language_of(request.cookies, request.headers, office.record.clinic.language)
    digits = "latin" if office.digits == "latin" else "locale"
    words = words_in(tag, digits, office.settings.mirrored)
    from_script = request.headers.get("x-asked-by") in ("script", "page")
    place = request.client.host if request.client else ""
    return Visitor(office, account, words, request.url.path, from_script, is_loopback(place), place)


def language_of(cookies: Mapping[str, str], headers: Mapping[str, str], fallback: str) -> str:
    """The language chosen, else the first one the browser asks for that there is, else the clinic's, else English."""
    known = interface_languages()
    asked = [part.split(";")[0].strip().split("-")[0] for part in headers.get("accept-language", "").split(",")]
    wanted = (cookies.get(LANGUAGE, ""), *asked, fallback, "en")
    return next((tag for tag in wanted if tag in known), "en")
