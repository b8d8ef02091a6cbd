"""What is worked out for one sheet and used again for the next: styles, lines of text, the rules of a browser.

WeasyPrint 70.0 forgets all of it after each document. Sheets of a clinic are made of the same words in the same styles,
so that most lines of the second pack were set in the first. The paper is the same, byte for byte: a test compares.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
import zlib
from collections.abc import Callable, Hashable
from functools import cache
from typing import Any, Generic, TypeVar

import pydyf
from weasyprint.css import ComputedStyle, StyleFor
from weasyprint.draw.color import get_color
from weasyprint.formatting_structure import boxes
from weasyprint.layout import absolute, background, block, column, grid, inline, page, percent, preferred, table
from weasyprint.layout import float as float_
from weasyprint.text.line_break import Layout, split_first_line

from consent.print import markup, pinned

_KNOWN = {
    "weasyprint.css:ComputedStyle": "4ff0512c0af12674b13e48f340df7572",
    "weasyprint.css:AnonymousStyle": "414bbf41061e0a4a2621717c3e154c4f",
    "weasyprint.css:StyleFor": "dac5a13261681453ee2823f7285ecd22",
    "weasyprint.layout.percent:adjust_box_sizing": "88f3351db0280d16752c28f87f2a5034",
    "weasyprint.layout.percent:resolve_percentages": "71673078096fcf8764e6412933288cc7",
    "weasyprint.layout.percent:percentage": "ebe404ccd9da50bfc1cd147b8378c34a",
    "weasyprint.layout.percent:resolve_one_percentage": "4cfaa9ad134e4f7bd8b61c7a6eba5667",
    "weasyprint.text.line_break:Layout": "681b737d1ba5e004efdc3ee409478b6b",
    "weasyprint.text.line_break:first_line_metrics": "55ec5d0b58b29a8bda9f4c85d3bc3bc4",
    "weasyprint.text.line_break:split_first_line": "39ad1016863ca34de0bea4c9fcffb46d",
    "weasyprint.draw.text:draw_text": "ebaf96239c6ca3635d2b91bfb34718c2",
    "weasyprint.formatting_structure.boxes:Box": "ff6d62300bafef85680ce8484a8f3497",
    "weasyprint.layout.background:layout_box_backgrounds": "617a870678c82755762bbf53eecd2a87",
    "weasyprint.text.line_break:strut": "b57885b70dd08efe92f72a746709e08c",
    "pydyf:_to_bytes": "1cefd02c285d3aee7ad09bf6e5be50b2",
    "pydyf:Stream": "f17b6bdcfedf2f509875faa26bd999af",
}
_Value = TypeVar("_Value")


class Kept(Generic[_Value]):
    """Values by key, at most twice ``most``: when the newer half is full, the older one is forgotten."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._newer: dict[Hashable, _Value] = {}
        self._older: dict[Hashable, _Value] = {}

    def get(self, key: Hashable) -> _Value | None:
        found = self._newer.get(key)
        if found is None and (found := self._older.get(key)) is not None:
            self.keep(key, found)
        return found

    def keep(self, key: Hashable, value: _Value) -> None:
        if len(self._newer) >= self._most:
            self._older, self._newer = self._newer, {}
        self._newer[key] = value


# A pack of two languages has some two thousand styles and seven thousand lines; a line and its glyphs take 3 kB.
_styles: Kept[Any] = Kept(5_000)
_lines: Kept[tuple[Any, ...]] = Kept(7_000)


@cache
def install() -> None:
    """Lets later sheets of this process use what earlier ones worked out. ``MachineError`` for another WeasyPrint."""
    pinned.need(_KNOWN, "reuse")
    StyleFor.set_computed_styles = _with_kept_styles(StyleFor.set_computed_styles)
    inline.split_first_line = preferred.split_first_line = _with_kept_lines(split_first_line)
    kept_lengths = _with_kept_lengths(percent.resolve_percentages)
    for module in (absolute, block, column, float_, grid, inline, page, percent, table):
        module.resolve_percentages = kept_lengths
    markup.install()
    inline.strut = _with_kept_strut(inline.strut)
    boxes.Box.is_in_normal_flow = _is_in_normal_flow
    background.layout_box_backgrounds = _with_kept_bareness(background.layout_box_backgrounds)
    pydyf._to_bytes = _as_bytes
    pydyf.zlib = _Compressing
    Layout.reactivate, Layout.deactivate, Layout.__getattr__ = _reactivate, _deactivate, _set_up


def _with_kept_styles(set_styles: Callable[..., None]) -> Callable[..., None]:
    """``StyleFor.set_computed_styles`` with one style for all elements of a parent style and the same declarations."""

    def set_kept_styles(
        self: Any,
        element: Any,
        parent: Any,
        root: Any = None,
        pseudo_type: str | None = None,
        base_url: str | None = None,
        target_collector: Any = None,
    ) -> None:
        if not isinstance(element, ET.Element):  # of a page: its style is changed as it is laid out
            set_styles(self, element, parent, root, pseudo_type, base_url, target_collector)
            return
        computed = self.get_computed_styles()
        cascaded = self.get_cascaded_styles().get((element, pseudo_type), {})
        above = None if element is root and pseudo_type is None else computed[parent, None]
        declared = frozenset((name, _hashable(value), weight) for name, (value, weight) in cascaded.items())
        key = (id(above), pseudo_type, base_url, id(self.font_config), declared)
        style = _styles.get(key)
        if style is None:
            set_styles(self, element, parent, root, pseudo_type, base_url, None)
            style = computed[element, pseudo_type]
            _styles.keep(key, style)  # it holds its parent and its declarations, whose addresses are in the key
        computed[element, pseudo_type] = style
        if target_collector and style["anchor"]:
            target_collector.collect_anchor(style["anchor"])

    return set_kept_styles


def _hashable(value: Any) -> Hashable:
    try:
        hash(value)
    except TypeError:
        return id(value)
    return value  # type: ignore[no-any-return]


def _with_kept_lines(split: Callable[..., Any]) -> Callable[..., Any]:
    """``split_first_line`` that sets each text once for a style and a width. What it returns is not changed later."""

    def split_kept_line(
        text: str,
        style: ComputedStyle,
        context: Any,
        max_width: float | None,
        justification_spacing: float,
        is_line_start: bool = True,
        minimum: bool = False,
    ) -> Any:
        key = (id(style), text, max_width, justification_spacing, is_line_start, minimum)
        found = _lines.get(key)
        if found is None:
            found = (style, split(text, style, context, max_width, justification_spacing, is_line_start, minimum))
            _lines.keep(key, found)
        return found[1]

    return split_kept_line


_PERCENTS = (
    *(f"{kind}_{side}" for kind in ("margin", "padding") for side in ("left", "right", "top", "bottom")),
    *(f"{limit}{axis}" for axis in ("width", "height") for limit in ("", "min_", "max_")),
)
_BORDERS = tuple(f"border_{side}_width" for side in ("top", "right", "bottom", "left"))


def _with_kept_lengths(resolve: Callable[..., None]) -> Callable[..., None]:
    """``resolve_percentages`` that looks once at a style whose lengths depend on nothing around the box."""

    def resolve_kept(box: Any, containing_block: Any) -> None:
        style = box.style
        try:
            fixed = style.fixed
        except AttributeError:
            fixed = style.fixed = _fixed(style)
        if fixed is None:
            resolve(box, containing_block)
            return
        lengths, borders = fixed
        box.__dict__.update(lengths)
        if style["border_collapse"] != "collapse":
            box.__dict__.update(borders)
        else:  # those that borders of neighbours were already put together with stay
            box.__dict__.update((name, width) for name, width in borders.items() if not hasattr(box, name))

    return resolve_kept


def _fixed(style: Any) -> tuple[dict[str, Any], dict[str, Any]] | None:
    """Every used length of a box of ``style``, and its borders; None where one is a percentage, or the box is measured
    otherwise than by its content."""
    if style["box_sizing"] != "content-box":
        return None
    found: dict[str, Any] = {}
    for name in _PERCENTS:
        value = style[name]
        if value == "auto":
            found[name] = 0 if name.startswith("min_") else value
        elif getattr(value, "unit", None) == "px":
            found[name] = value.value
        else:
            return None
    return found, {name: style[name] for name in _BORDERS}


def _with_kept_strut(strut: Callable[..., Any]) -> Callable[..., Any]:
    """``strut``, the height of an empty line, once a style."""

    def kept_strut(style: Any) -> Any:
        try:
            return style.strut
        except AttributeError:
            style.strut = strut(style)
            return style.strut

    return kept_strut


def _is_in_normal_flow(self: Any) -> bool:
    """As WeasyPrint's, once a style."""
    style = self.style
    try:
        return style.in_flow  # type: ignore[no-any-return]
    except AttributeError:
        position, floating = style["position"], style["float"]
        out = position in ("absolute", "fixed") or position[0] in ("running()", "note()")
        style.in_flow = not out and floating == "none"
        return style.in_flow  # type: ignore[no-any-return]


_CORNERS = tuple(f"border_{corner}_radius" for corner in ("top_left", "top_right", "bottom_right", "bottom_left"))
_NO_RADII = dict.fromkeys(_CORNERS, (0, 0))


def _with_kept_bareness(lay_out: Callable[..., None]) -> Callable[..., None]:
    """``layout_box_backgrounds`` that asks a style once whether it paints anything behind a box."""

    def lay_out_kept(page_box: Any, box: Any, get_image: Any, layout_children: bool = True, style: Any = None) -> None:
        own = box.style if style is None else style
        try:
            bare = own.bare
        except AttributeError:
            bare = own.bare = _is_bare(own)
        if not bare or box is page_box:
            lay_out(page_box, box, get_image, layout_children, style)
            return
        box.__dict__.update(_NO_RADII)
        if layout_children:
            for child in box.all_children():
                lay_out_kept(page_box, child, get_image)
        box.background = None

    return lay_out_kept


def _is_bare(style: Any) -> bool:
    return (
        all((0, "px") in style[corner] for corner in _CORNERS)
        and style["border_image_source"][0] == style["mask_border_source"][0] == "none"
        and style["visibility"] != "hidden"
        and all(kind == "none" for kind, _ in style["background_image"])
        and get_color(style, "background_color").alpha == 0
        and not style["box_shadow"]
    )


def _as_bytes(item: Any) -> bytes:
    """As pydyf's, numbers first: there are four hundred thousand in a pack."""
    kind = type(item)
    if kind is bytes:
        return item  # type: ignore[no-any-return]
    if kind is int:
        return b"%d" % item
    if kind is float:
        return b"%d" % item if item.is_integer() else (b"%f" % item).rstrip(b"0")
    return _slow_bytes(item)  # type: ignore[no-any-return]


_slow_bytes = pydyf._to_bytes


class _Compressing:
    """In place of ``zlib`` for pydyf, which asks for level 9: twice the time of level 6 for one byte in a hundred."""

    compress = staticmethod(zlib.compress)

    @staticmethod
    def compressobj(level: int) -> Any:
        return zlib.compressobj(min(level, 6))


# A line that was measured is set again only when somebody looks at its glyphs.


def _reactivate(self: Any, style: Any) -> None:
    self.waiting = style


def _deactivate(self: Any) -> None:
    for name in ("waiting", "layout", "language", "style"):
        self.__dict__.pop(name, None)


def _set_up(self: Any, name: str) -> Any:
    if name not in ("layout", "language", "style") or "waiting" not in self.__dict__:
        raise AttributeError(name)
    self.setup(self.__dict__.pop("waiting"))
    self.set_text(self.text, justify=True)
    return getattr(self, name)
