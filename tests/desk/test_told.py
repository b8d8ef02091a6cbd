"""What is refused is told in the language of the page, with what to do; English only where nobody put it into words."""

from __future__ import annotations

import ast
import datetime as dt
import pickle
import re
import unicodedata
from collections.abc import Iterator
from pathlib import Path

import pytest
from markupsafe import Markup

import consent
from consent.desk.told import fault, told
from consent.desk.words import Words, interface_languages
from consent.errors import Problem
from consent.language import DESK_DOMAIN, load_catalogue
from consent.language.po import SLOT
from consent.wording import remark
from tests.desk.house import OPERATIONS, Browser, House
from tests.record.story import IST

OTHERS = [tag for tag in interface_languages() if tag != "en"]
PUT_TOGETHER = {
    *(f"problem.password-{why}" for why in ("same", "name", "rows", "words")),
    *(f"problem.store-{name}" for name in ("full", "busy", "down", "ill")),
}
"""Ids that stand in no source as one text."""


def _said() -> Iterator[tuple[str, frozenset[str]]]:
    """Each problem the program can put into words, by its message and the slots it fills."""
    for path in Path(consent.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not (isinstance(node, ast.Call) and getattr(node.func, "id", "") in ("remark", "fault") and node.args):
                continue
            first = node.args[0]
            if isinstance(first, ast.Constant) and str(first.value).startswith("problem."):
                yield str(first.value), frozenset(word.arg or "" for word in node.keywords)


@pytest.mark.parametrize("tag", interface_languages())
def test_every_problem_has_words_and_a_remedy(tag: str) -> None:
    messages = load_catalogue(tag, None, DESK_DOMAIN).messages
    said = dict(_said())
    assert len(said) > 50
    there = {name for name in messages if name.startswith("problem.") and not name.endswith(".do")}
    assert there == said.keys() | PUT_TOGETHER
    for name, slots in said.items():
        words, remedy = messages[name].forms[0], messages[f"{name}.do"].forms[0]
        assert set(SLOT.findall(words)) | set(SLOT.findall(remedy)) == slots, (tag, name)


def test_every_slot_is_said_where_it_stands() -> None:
    """A remedy is said without slots, but for the one that names minutes."""
    messages = load_catalogue("en", None, DESK_DOMAIN).messages
    slotted = {
        name
        for name, one in messages.items()
        if name.startswith("problem.") and name.endswith(".do") and SLOT.search(one.forms[0])
    }
    assert slotted == {"problem.wait.do"}


@pytest.mark.parametrize("tag", interface_languages())
def test_each_of_them_can_be_said(tag: str) -> None:
    words = Words(tag)
    for name, slots in _said():
        found = told(Problem("", "", said=remark(name, **dict.fromkeys(slots, 7))), words)
        assert found.what and found.remedy and not found.english, name


def test_whoever_has_to_wait_is_told_how_long(house: House) -> None:
    nobody = house.nobody()
    for _ in range(6):
        page = nobody.post("/login", {"login": "asha", "password": "not hers at all"})
    assert page.status_code == 403 and "Too many wrong passwords in a row" in page.text and "Wait 1 min" in page.text


def test_a_problem_of_a_page_and_one_without_words() -> None:
    words = Words("hi")
    assert told(fault("look.fault.wrong-password"), words).what == words.say("look.fault.wrong-password")
    bare = told(Problem("<b>no</b> such file", "/srv/somebody/notes.toml", "it is needed", "look"), words)
    assert bare.english and bare.what == Markup("&lt;b&gt;no&lt;/b&gt; such file") and bare.where == "notes.toml"
    assert bare.sentence == "&lt;b&gt;no&lt;/b&gt; such file. It is needed. Look."


def test_a_problem_leaves_a_process_whole() -> None:
    problem = Problem("a", "b", said=remark("problem.wait", minutes=3))
    assert pickle.loads(pickle.dumps(problem)) == problem  # noqa: S301  our own


def _seen(browser: Browser, path: str, fields: dict[str, str], tag: str) -> str:
    """What a person reads in the box of problems, without names of people."""
    browser.cookies["consent-language"] = tag
    page = browser.post(path, fields).text
    box = " ".join(re.findall(r'<(?:div|ul) class="problems?"[^>]*>(.*?)</(?:div|ul)>', page, re.S))
    return re.sub(r"<[^>]+>|\w+\.? Example", " ", box)


@pytest.mark.parametrize("tag", OTHERS)
def test_refusals_are_read_in_the_language_of_the_page(day: House, tag: str) -> None:
    story = day.story()
    subject, seen = story.subject, {"seen": str(day.case().sequence)}
    nobody, meera, asha, lila = day.nobody(), *(day.browser(who) for who in ("meera", "asha", "lila"))
    refused = [
        _seen(nobody, "/login", {"login": "meera", "password": "not hers at all"}, tag),
        _seen(meera, "/password", {"old": "x", "new": "short", "again": "short"}, tag),
        _seen(asha, f"/case/{subject}/answer", seen, tag),
        _seen(lila, "/lead/people", {"login": "X Y", "name": "Nobody", "password": "p" * 20}, tag),
        _seen(lila, "/lead/backup", {"passphrase": "short", "again": "short"}, tag),
    ]
    story.explain(OPERATIONS.astimezone(IST) - dt.timedelta(days=2))
    refused.append(_seen(asha, f"/case/{subject}/send-back", seen | {"reason": "Ask again."}, tag))
    story.accept_figures()
    story.sign_off()
    seen = {"seen": str(day.case().sequence)}
    refused.append(
        _seen(meera, f"/case/{subject}/consented", seen | {"by": "A. Example", "how": "signature", "code": "x"}, tag)
    )
    story.consent()
    seen = {"seen": str(day.case().sequence)}
    answers = {"decision": "confirmed", "still_wishes": "yes", "condition_changed": "yes"}
    refused.append(_seen(day.browser("tara"), f"/case/{subject}/confirm", seen | answers, tag))
    for text in refused:
        latin = {letter for letter in text if letter.isalpha() and "LATIN" in unicodedata.name(letter, "")}
        assert text.strip() and not latin, (tag, text)
