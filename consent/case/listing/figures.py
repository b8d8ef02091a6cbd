"""Reads a cell that holds a number, a date or a time."""

from __future__ import annotations

import re

from consent.case.dates import date_of, time_of
from consent.case.listing.refusal import refused
from consent.case.listing.rules import Column, list_rules, plain
from consent.case.plain import ascii_digits

_NUMBER = re.compile(r"([+-]?\d{1,6}(?:[.,]\d{1,6})?)\s*(.*)")
_PRESSURE = re.compile(r"(\d{2,3})\s*/\s*(\d{2,3})\s*(?:mm\s?hg)?", re.IGNORECASE)


def number(cell: str, column: Column) -> float:
    """The number, with a decimal point or comma, and the unit of the column after it or not."""
    found = _NUMBER.fullmatch(ascii_digits(cell).replace("\u2212", "-"))
    if not found or plain(found[2]) not in ("", *map(plain, list_rules().units.get(column.unit, ()))):
        unit = f" in {column.unit}" if column.unit else ""
        raise refused(cell, f"a number{unit}", "write digits, such as 23.5 or 23,5")
    return float(found[1].replace(",", "."))


def integer(cell: str, column: Column) -> int:
    """The whole number; a comma could stand for thousands or tenths, so it is refused."""
    value = number(cell, column)
    if not value.is_integer() or "," in cell:
        raise refused(cell, "a whole number", "write digits without a point or comma")
    return int(value)


def age(cell: str, _: Column) -> int:
    """Whole years of age."""
    found = _NUMBER.fullmatch(ascii_digits(cell))
    if not found or plain(found[2]) not in ("", *map(plain, list_rules().units["years"])):
        raise refused(cell, "an age", "write whole years, such as 67")
    if not (years := float(found[1].replace(",", "."))).is_integer():
        raise refused(cell, "an age in whole years", "write whole years, such as 67")
    return int(years)


def date(cell: str, _: Column) -> str:
    """The date in ISO 8601; two digits of a year are one of this century."""
    try:
        return date_of(ascii_digits(cell), short_years=True).isoformat()
    except ValueError as failure:
        raise refused(cell, "a date", "write 2027-02-24, or 24/02/2027 with the day first") from failure


def birth_date(cell: str, _: Column) -> str:
    """The date in ISO 8601; two digits of a year could be one of two centuries, so they are refused."""
    try:
        return date_of(ascii_digits(cell), short_years=False).isoformat()
    except ValueError as failure:
        remedy = "write 1961-04-12, or 12/04/1961 with the day first and four digits of the year"
        raise refused(cell, "a birth date", remedy) from failure


def time(cell: str, _: Column) -> str:
    """The time of day in ISO 8601."""
    try:
        return time_of(ascii_digits(cell)).isoformat()
    except ValueError as failure:
        raise refused(cell, "a time", "write 08:45 or 2:30 pm") from failure


def pressure(cell: str, _: Column) -> tuple[int, int]:
    """Systolic and diastolic blood pressure in mmHg."""
    if not (found := _PRESSURE.fullmatch(ascii_digits(cell))):
        raise refused(cell, "a blood pressure", "write 132/82")
    return int(found[1]), int(found[2])
