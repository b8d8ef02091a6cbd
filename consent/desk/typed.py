"""What was typed, as the case holds it: any keyboard's digits, a decimal comma, nothing guessed."""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from consent.desk.fields import Field, Kind
from consent.desk.form import Sent

Tree = dict[str, Any]
NOTHING = object()
"""Stands for a question that was left empty."""
_NUMBER = re.compile(r"[+-]?\d{1,9}(\.\d{1,9})?")
_GROUPED = re.compile(r"[+-]?\d{1,3}([, ]\d{3})+(\.\d{1,9})?")
_THOUSAND = 1000


def value_of(form: Sent, field: Field, name: str, zone: dt.tzinfo) -> Any:
    """What ``form`` says to ``field`` under ``name``, as JSON; ``NOTHING`` where it was left empty.

    What cannot be meant stays the text it is: the model of the case refuses it with a reason. A text in the place of a
    date or time goes into a list, for the model would read "1" as the first second of 1970.
    """
    if field.kind == "several":
        sent = set(form.texts(name))
        return [choice.value for choice in field.choices if choice.value in sent] + sorted(
            sent - {choice.value for choice in field.choices}
        )
    if field.kind == "texts":
        return list(form.texts(name))
    if field.kind == "rows":
        return list(rows_of(form, field, name, zone).values())
    if field.kind == "tick":
        return form.text(name) == "yes"
    text = form.text(name)
    if not text:
        return NOTHING
    if field.kind in ("number", "whole"):
        return _number(text, field)
    read = _READERS.get(field.kind)
    return read(text, zone) if read else text


def rows_of(form: Sent, field: Field, name: str, zone: dt.tzinfo, removed: bool = False) -> dict[int, Tree]:
    """The rows that say something, by their place in the form; those to be taken out only where ``removed``."""
    pattern = re.compile(re.escape(name) + r"\.(\d{1,3})\.")
    places = sorted({int(match[1]) for key in form.names() if (match := pattern.match(key))})
    kept = (place for place in places if removed or not is_removed(form, name, place))
    return {place: row for place in kept if (row := _row(form, field, f"{name}.{place}", zone))}


def is_removed(form: Sent, name: str, place: int) -> bool:
    """Whether the row at ``place`` is to be taken out."""
    return bool(form.text(f"{name}.{place}.remove"))


def _row(form: Sent, field: Field, name: str, zone: dt.tzinfo) -> Tree:
    """One row; nothing where no more was said than a new row says by itself."""
    pairs = ((inner, value_of(form, inner, f"{name}.{inner.name}", zone)) for inner in field.inner)
    row = {inner.name: value for inner, value in pairs if value is not NOTHING}
    said = {inner.name for inner in field.inner if row.get(inner.name, inner.default) not in (inner.default, [], None)}
    return row if said else {}


def _number(text: str, field: Field) -> Any:
    """A comma or a blank before three digits groups them where ``field`` takes numbers as large; where it takes only
    small ones with decimals, a comma is the decimal sign. No sign is passed over: "5,5" never becomes 55."""
    plain = re.sub(r"(?<=^[+-]) ", "", " ".join(_latin(text).replace("−", "-").split()))
    if takes_groups(field):
        plain = re.sub("[, ]", "", plain) if _GROUPED.fullmatch(plain) else plain
    else:
        plain = plain.replace(",", ".")
    if not _NUMBER.fullmatch(plain):
        return text
    return float(plain) if "." in plain else int(plain)


def takes_groups(field: Field) -> bool:
    """Whether ``field`` takes whole numbers, or numbers of four digits and more."""
    return field.kind == "whole" or (field.high is not None and field.high >= _THOUSAND)


def _latin(text: str) -> str:
    """``text`` with the digits of any script as 0 to 9."""
    return "".join(str(unicodedata.decimal(sign, sign)) for sign in text)


def _moment(text: str, zone: dt.tzinfo) -> Any:
    try:
        read = dt.datetime.fromisoformat(_latin(text))
    except ValueError:
        return [text]
    return (read if read.tzinfo else read.replace(tzinfo=zone)).isoformat() if ":" in text else [text]


def _date(text: str, _: dt.tzinfo) -> Any:
    """ISO, as a browser's own calendar sends it, or day, month and year as people write them."""
    plain = _latin(text)
    match = re.fullmatch(r"(\d{1,2})[./-](\d{1,2})[./-](\d{4})", plain)
    try:
        return dt.date.fromisoformat(
            f"{match[3]}-{int(match[2]):02}-{int(match[1]):02}" if match else plain
        ).isoformat()
    except ValueError:
        return [text]


def _time(text: str, _: dt.tzinfo) -> Any:
    try:
        return dt.time.fromisoformat(_latin(text)).isoformat()
    except ValueError:
        return [text]


_READERS: dict[Kind, Callable[[str, dt.tzinfo], Any]] = {
    "moment": _moment,
    "date": _date,
    "time": _time,
}


def put(data: Mapping[str, Any], path: str, value: Any) -> Tree:
    """``data`` with ``value`` at the dotted ``path``; taken away where it is ``NOTHING``. ``data`` itself stays."""
    head, _, rest = path.partition(".")
    made = dict(data)
    if rest:
        made[head] = put(data.get(head) or {}, rest, value)
        if not made[head] and head not in data:
            del made[head]
    elif value is NOTHING:
        made.pop(head, None)
    else:
        made[head] = value
    return made


def at(data: Mapping[str, Any], path: str) -> Any:
    """What ``data`` holds at the dotted ``path``; ``NOTHING`` where it holds nothing."""
    found: Any = data
    for name in path.split("."):
        if not isinstance(found, Mapping) or name not in found:
            return NOTHING
        found = found[name]
    return found


def without_empty_tables(data: Tree, tables: Iterable[str], fields: Iterable[Field]) -> Tree:
    """``data`` without those of ``tables`` in which no question says more than it does by itself."""
    every = tuple(fields)
    for table in tables:
        inner = [field for field in every if field.path.startswith(f"{table}.")]
        said = [at(data, field.path) for field in inner]
        if inner and all(
            value in (NOTHING, None, [], field.default, "unknown") for value, field in zip(said, inner, strict=True)
        ):
            data = put(data, table, NOTHING)
    return data
