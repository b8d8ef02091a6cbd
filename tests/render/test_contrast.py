"""Every colour of text in the style sheet against its background: WCAG 2.2, success criterion 1.4.3, at least 4.5:1.

Relative luminance and contrast ratio are those of WCAG 2.2; 1.4.3 lets large text have 3:1, which is not made use of.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import pytest
import tinycss2
from cssselect2 import ElementWrapper, Matcher, compile_selector_list
from tinyhtml5 import parse

from consent.resources import templates
from tests.conftest import Paper

STYLE = (templates() / "styles" / "sheet.css").read_text(encoding="utf-8")
BLACK, WHITE = "#000", "#fff"
LEAST = 4.5


@dataclass(frozen=True)
class Rule:
    """A rule with its colour of text and its background, where it sets them."""

    selector: str
    colour: str | None
    background: str | None


def rules(style: str) -> Iterator[Rule]:
    """Rules of ``style`` that set a colour of text or a background."""
    for rule in tinycss2.parse_stylesheet(style, skip_comments=True, skip_whitespace=True):
        assert rule.type in ("qualified-rule", "at-rule"), rule
        declared = tinycss2.parse_blocks_contents(rule.content, skip_comments=True, skip_whitespace=True)
        found = {
            item.lower_name: tinycss2.serialize(item.value).strip() for item in declared if item.type == "declaration"
        }
        colour, background = found.get("color"), found.get("background", found.get("background-color"))
        if colour or background:
            assert rule.type == "qualified-rule", "a colour of a page's margin boxes: teach this test"
            yield Rule(tinycss2.serialize(rule.prelude), colour, background)


def luminance(colour: str) -> float:
    """WCAG 2.2, relative luminance of ``#rgb`` or ``#rrggbb``."""
    match = re.fullmatch(r"#([0-9a-f]{3}|[0-9a-f]{6})", colour)
    assert match, f"{colour}: write #rgb or #rrggbb, or teach this test"
    digits = match[1] if len(match[1]) == 6 else "".join(2 * digit for digit in match[1])
    parts = [int(digits[place : place + 2], 16) / 255 for place in (0, 2, 4)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, contrast ratio."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


# WCAG 2.2 defines the ratio; 21:1 is black on white by definition, 4.54 is #767676 on white, the lightest grey that
# passes (WebAIM, Contrast and Color Accessibility).
@pytest.mark.parametrize(("one", "other", "ratio"), [("#000", "#fff", 21.0), ("#767676", "#ffffff", 4.54)])
def test_contrast_is_that_of_wcag(one: str, other: str, ratio: float) -> None:
    assert contrast(one, other) == pytest.approx(ratio, abs=0.005)
    assert contrast(other, one) == pytest.approx(ratio, abs=0.005)


def pairs(html: str) -> Iterator[tuple[str, str, str]]:
    """Colour of every text of ``html`` with the background it stands on, and the text, by the rules of ``STYLE``.

    CSS Cascading 4: the most specific rule, then the last one; colour is inherited, a background shows through.
    """
    yield from _below(ElementWrapper.from_html_root(parse(html, namespace_html_elements=False)), BLACK, WHITE)


def _below(element: ElementWrapper, colour: str, background: str) -> Iterator[tuple[str, str, str]]:
    if element.local_name in ("head", "svg"):
        return
    for *_, rule in _matcher().match(element):
        colour, background = rule.colour or colour, rule.background or background
    own = [element.etree_element.text, *(child.tail for child in element.etree_element)]
    text = " ".join(part.strip() for part in own if part and part.strip())
    if text:
        yield colour, background, text
    for child in element.iter_children():
        yield from _below(child, colour, background)


@cache
def _matcher() -> Matcher:
    matcher = Matcher()
    for rule in rules(STYLE):
        for selector in compile_selector_list(rule.selector):
            matcher.add_selector(selector, rule)
    return matcher


def test_every_text_is_dark_enough_on_what_it_stands_on(papers: list[Paper], list_papers: list[Paper]) -> None:
    seen: dict[tuple[str, str], tuple[str, str]] = {}
    for paper in (*papers, *list_papers):
        for colour, background, text in pairs(paper.html):
            seen.setdefault((colour, background), (paper.name, text))
    assert len(seen) >= 4, "text, grey text, text on grey and white on black were looked at"
    pale = [
        (colour, ground, round(contrast(colour, ground), 2), *where)
        for (colour, ground), where in seen.items()
        if contrast(colour, ground) < LEAST
    ]
    assert not pale, pale


def test_every_colour_of_the_style_sheet_is_known() -> None:
    """A colour written another way, or one that lets another through, would be left out above."""
    found = [colour for rule in rules(STYLE) for colour in (rule.colour, rule.background) if colour]
    assert len(found) > 20
    assert all(1 <= contrast(colour, WHITE) <= 21 for colour in found)


def test_the_cascade_is_followed() -> None:
    """A more specific rule wins, a colour is inherited, a ground shows through. Source: CSS Cascading 4, by hand."""
    html = """<html class="bilingual"><body><table class="warnings now"><tr><th>on black <i>within</i></th></tr></table>
    <table class="facts"><tr><th>label</th></tr></table><p>plain</p></body></html>"""
    found = {text: (colour, ground) for colour, ground, text in pairs(html)}
    assert found == {
        "on black": ("#fff", "#111"),
        "within": ("#fff", "#111"),
        "label": ("#333", "#fff"),
        "plain": ("#111", "#fff"),
    }


def test_a_pale_grey_would_be_found() -> None:
    """#999 on white is 2.85:1 (WebAIM contrast checker)."""
    (rule,) = rules(".a, .b { margin: 0 } .c { color: #999 }")
    assert contrast(rule.colour or "", WHITE) == pytest.approx(2.85, abs=0.005)
    assert contrast(rule.colour or "", WHITE) < LEAST
