"""The patient's page as one file that asks for nothing: words, drawings, style and a small script in it."""

from __future__ import annotations

import base64
import datetime as dt
import hashlib
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from markupsafe import Markup

from consent.compose.page_code import short_code
from consent.desk.phone_days import EARLY, LATE, signs
from consent.desk.phone_page import PhonePage
from consent.desk.views import environment
from consent.resources import templates

_SVG = re.compile(r'<svg xmlns="http://www.w3.org/2000/svg" class="([a-z]+)" (viewBox="[^"]+")([^>]*)>(.*)</svg>', re.S)


_OWN = ("desk", "static")


@dataclass
class Drawings:
    """Every drawing of a page once, and each place where it stands as a pointer to it."""

    drawn: dict[str, str] = field(default_factory=dict)

    def use(self, svg: str) -> Markup:
        """``svg`` at this place. The words beside a drawing say the same, so that it is hidden from a screen reader."""
        found = _SVG.fullmatch(svg)
        if found is None:
            raise ValueError("a drawing of another make")
        name, box, _, _ = found.groups()
        drawing = self.drawn.setdefault(svg, f"d{len(self.drawn) + 1}")
        return Markup(f'<svg class="{name}" {box} aria-hidden="true"><use href="#{drawing}"/></svg>')  # noqa: S704

    def all(self) -> Markup:
        """The drawings themselves, to stand once on the page."""
        symbols = []
        for svg, name in self.drawn.items():
            found = _SVG.fullmatch(svg)
            if found is not None:
                _, box, look, inner = found.groups()
                symbols.append(f'<symbol id="{name}" {box}><g{look}>{inner}</g></symbol>')
        return Markup(f'<svg class="drawings" aria-hidden="true">{"".join(symbols)}</svg>')  # noqa: S704


def page_html(page: PhonePage, now: dt.datetime) -> str:
    """The page as it is opened in the clinic; the day of ``now`` is chosen in it ahead of any script."""
    body = _body(page, now, now.date())
    return environment().get_template("phone.html").render(page=page, words=page.words, body=body)


def file_html(page: PhonePage, made: dt.date) -> str:
    """The page as a file made on ``made``, which leaves for nothing else and is opened on a day that nobody knows."""
    style = asset_text("styles", "fonts.css") + asset_text(*_OWN, "phone.css")
    script = asset_text(*_OWN, "phone.js")
    given: dict[str, Any] = {
        "style": Markup(style),  # noqa: S704  our own file
        "script": Markup(script),  # noqa: S704  our own file
        "policy": policy(style, script),
    }
    body = _body(page, None, made)
    return environment().get_template("phone-file.html").render(page=page, words=page.words, body=body, **given)


def file_name(page: PhonePage) -> str:
    """Name of the file: the short code of the papers, and nothing of the patient."""
    return f"drops-{'-'.join(short_code(page.papers.code))}.html"


def policy(style: str, script: str) -> str:
    """The Content-Security-Policy of a file: this style and this script, and nothing from anywhere (CSP Level 3)."""
    return (
        f"default-src 'none'; style-src '{_hash(style)}'; script-src '{_hash(script)}'; base-uri 'none'; "
        "form-action 'none'"
    )


def _hash(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


@cache
def asset_text(*parts: str) -> str:
    """Our file at ``parts`` of the templates. Raises ``ValueError`` where it could end the element it is put into."""
    text = templates().joinpath(*parts).read_text(encoding="utf-8")
    if "</" in text:
        raise ValueError(f"{parts[-1]} holds a closing tag")
    return text


def _body(page: PhonePage, now: dt.datetime | None, made: dt.date) -> Markup:
    """What both have in common, with the drawings ahead of where they stand."""
    drawings = Drawings()
    given: dict[str, Any] = {
        "page": page,
        "words": page.words,
        "say": page.words.say,
        "use": drawings.use,
        "langs": page.langs,
        "rtl": _same_direction,
        "today": now.date() if now else None,
        "tomorrow": now.date() + dt.timedelta(days=1) if now else None,
        "signs": _signs(now),
        "made": made,
        "early": EARLY,
        "late": LATE,
    }
    body = environment().get_template("phone-body.html").render(**given)
    return drawings.all() + Markup(body)  # noqa: S704  escaped where it was rendered


def _same_direction(_: int) -> str:
    return ""


def _signs(now: dt.datetime | None) -> Callable[[Any], tuple[str, ...]]:
    def of(day: Any) -> tuple[str, ...]:
        times = [one.at for one in day.rounds]
        if now is None or day.date != now.date():
            return ("",) * len(times)
        return signs(times, now.time())

    return of
