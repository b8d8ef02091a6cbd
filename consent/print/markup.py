"""The markup of a sheet and the rules that can match in it, read quicker than a page of the web could be.

Our HTML is well-formed, so that a parser of XML reads it; rules whose classes are not on a sheet are left out before
they are tried on each element; sheets have neither lists nor notes, whose rules match every element.
"""

from __future__ import annotations

import copy
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

import cssselect2
from cssselect2 import parser
from cssselect2.compiler import CompiledSelector
from weasyprint import CSS, HTML
from weasyprint.urls import URLFetcher

from consent.print import pinned

_KNOWN = {
    "weasyprint:HTML.__init__": "5f19f40b81837f87ae7af8e5c53d5f11",
    "weasyprint:HTML._ua_stylesheets": "4fadfde9d15075b22dcfa409ec8a03af",
    "cssselect2.compiler:CompiledSelector": "384272fc93d65da3b7c6e5ad6f2ae3ad",
    "cssselect2:Matcher": "a651e3a3f14e94a1e96057c54c5e16d0",
}


@cache
def install() -> None:
    """Let selectors keep what they were read from. Raises ``MachineError`` for another WeasyPrint."""
    pinned.need(_KNOWN, "markup")
    CompiledSelector.__init__ = _with_parsed(CompiledSelector.__init__)


class Sheet(HTML):  # type: ignore[misc]
    """The HTML of one of our sheets, which is well-formed XML but for its doctype and its empty elements."""

    def __init__(self, html: str, fetcher: URLFetcher) -> None:
        self.base_url, self.url_fetcher, self.media_type = "bundle:/", fetcher, "print"
        self.wrapper_element = cssselect2.ElementWrapper.from_html_root(tree_of(html), content_language=None)
        self.etree_element = self.wrapper_element.etree_element

    def _ua_stylesheets(self, forms: bool = False) -> list[Any]:
        return [_without_notes(sheet) for sheet in super()._ua_stylesheets(forms)]


_DOCTYPE = re.compile(r"\A\s*<!doctype html>\s*")
_EMPTY = re.compile(r"<((?:br|col|hr|img|link|meta)\b[^<>]*?)/?>")
_NO_NAMESPACE = re.compile(r"<svg (?![^<>]*xmlns)")


def tree_of(html: str) -> ET.Element:
    """The elements of a sheet as an HTML parser finds them (HTML, 13.2.6.5: SVG; 13.2.6.4.9: rows stand in a body).

    Raises ``xml.etree.ElementTree.ParseError`` for markup that is not ours.
    """
    drawn = _NO_NAMESPACE.sub('<svg xmlns="http://www.w3.org/2000/svg" ', _DOCTYPE.sub("", html))
    root = ET.fromstring(_EMPTY.sub(r"<\1/>", drawn))  # noqa: S314  made by our own templates
    root.text = ""
    for found in list(root.iter("table")):
        if found.find("tr") is not None:
            _put_rows_in_bodies(found)
    return root


def _put_rows_in_bodies(table: ET.Element) -> None:
    children, body = list(table), None
    table[:] = []
    for child in children:
        if child.tag != "tr":
            table.append(child)
            body = None
            continue
        if body is None:
            body = ET.SubElement(table, "tbody")
        body.append(child)


@cache
def _without_notes(sheet: Any) -> Any:
    """The rules of a browser but those of markers and notes, which have a style for each element of a page.

    Sheets have neither lists nor notes.
    """
    lighter = copy.copy(sheet)
    lighter.matcher = copy.copy(sheet.matcher)
    lighter.matcher.other_selectors = [
        entry
        for entry in sheet.matcher.other_selectors
        if not (entry[3] or "").endswith(("marker", "-call", "-callback"))
    ]
    return lighter


class Style(CSS):  # type: ignore[misc]
    """The style sheet of all sheets, read once."""

    def __init__(self, path: Path, fonts: Any) -> None:
        super().__init__(filename=path, font_config=fonts, matcher=_Matcher())

    def of(self, sheet: Sheet) -> CSS:
        """The rules that can match in ``sheet``: those whose classes are all there, four in ten and fewer."""
        names = {name for element in sheet.etree_element.iter() for name in element.get("class", "").split()}
        lighter = copy.copy(self)
        lighter.matcher = self.matcher.among(names)
        return lighter


class _Matcher(cssselect2.Matcher):  # type: ignore[misc]
    """Selectors, and the classes that each of them asks for, by its place."""

    def __init__(self) -> None:
        super().__init__()
        self.needed: dict[int, frozenset[str]] = {}

    def add_selector(self, selector: CompiledSelector, payload: Any) -> None:
        super().add_selector(selector, payload)
        self.needed[self.order] = frozenset(_classes(selector.parsed))

    def among(self, names: set[str]) -> _Matcher:
        """Those that can match where there are no other classes than ``names``."""
        found = copy.copy(self)
        for part, entries in vars(self).items():
            if part in ("lang_attr_selectors", "other_selectors"):
                setattr(found, part, self._possible(entries, names))
            elif part.endswith("_selectors"):
                kept = ((key, self._possible(some, names)) for key, some in entries.items())
                setattr(found, part, {key: some for key, some in kept if some})
        return found

    def _possible(self, entries: list[Any], names: set[str]) -> list[Any]:
        return [entry for entry in entries if self.needed[entry[2]] <= names]


def _classes(node: Any) -> Iterator[str]:
    """Classes an element or those around it must have; what stands in brackets of :is, :not and the like is not one."""
    if isinstance(node, parser.CombinedSelector):
        yield from _classes(node.left)
        yield from _classes(node.right)
    else:
        yield from (one.class_name for one in node.simple_selectors if isinstance(one, parser.ClassSelector))


def _with_parsed(begin: Callable[..., None]) -> Callable[..., None]:
    def begin_and_keep(self: Any, parsed: Any) -> None:
        begin(self, parsed)
        self.parsed = parsed.parsed_tree

    return begin_and_keep
