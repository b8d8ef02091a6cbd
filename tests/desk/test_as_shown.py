"""A screen that is sent just as it is shown changes nothing: what a form cannot say it does not take away."""

from __future__ import annotations

from html.parser import HTMLParser

import pytest

from consent.desk.screens import screens
from tests.desk.house import EXAMPLES, House


class Shown(HTMLParser):
    """The fields of the form ``entry``, as a browser would send them."""

    def __init__(self) -> None:
        super().__init__()
        self.fields: dict[str, list[str]] = {}
        self._inside = False
        self._select = ""
        self._text = ""

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        given = dict(attributes)
        if tag == "form":
            self._inside = given.get("id") == "entry"
        if not self._inside:
            return
        name, kind = given.get("name") or "", given.get("type") or "text"
        if tag == "input" and name and (kind not in ("checkbox", "radio") or "checked" in given):
            self._add(name, given.get("value") or "")
        elif tag == "select":
            self._select = name
        elif tag == "option" and self._select and "selected" in given:
            self._add(self._select, given.get("value") or "")
        elif tag == "textarea":
            self._text = name
            self._add(name, "")

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._inside = False
        elif tag == "select":
            self._select = ""
        elif tag == "textarea":
            self._text = ""

    def handle_data(self, data: str) -> None:
        if self._inside and self._text:
            self.fields[self._text][-1] += data

    def _add(self, name: str, value: str) -> None:
        self.fields.setdefault(name, []).append(value)


@pytest.mark.parametrize("name", EXAMPLES)
def test_nothing_changes(kept_house: House, name: str) -> None:
    before = kept_house.case(name)
    browser = kept_house.browser("meera")
    for screen in screens():
        path = f"/case/{before.subject}/enter/{screen.id}"
        shown = Shown()
        shown.feed(browser.get(path).text)
        assert shown.fields["asked"], screen.id
        answer = browser.post(path, {key: value for key, value in shown.fields.items() if key != "_csrf_token"})
        assert answer.status_code == 303, (
            screen.id,
            [line for line in answer.text.splitlines() if 'class="fault"' in line],
        )
        assert kept_house.case(name).history[-1].patch == before.history[-1].patch, screen.id
    assert kept_house.case(name).sequence == before.sequence
