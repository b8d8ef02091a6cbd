"""The table "Security of the pages" of DEVELOPERS.md names files that are there, and each requirement once."""

from __future__ import annotations

import re
from itertools import chain
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
CHAPTERS = {str(number) for number in range(2, 15)}
"""OWASP ASVS 4.0.3: chapter 1 has no requirement at level 1."""
NUMBER = re.compile(r"\d+\.\d+\.\d+")


def rows() -> list[list[str]]:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = text.split("## Security of the pages\n")[1].split("\n## ")[0]
    lines = [line for line in section.splitlines() if NUMBER.match(line.removeprefix("| "))]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]


def numbers(cell: str) -> list[str]:
    """The requirements of ``cell``, ranges such as 2.7.1-2.7.4 spelt out."""
    found = []
    for part in cell.split(", "):
        first, _, last = part.partition("-")
        head, _, start = first.rpartition(".")
        found += [f"{head}.{one}" for one in range(int(start), int((last or first).rpartition(".")[2]) + 1)]
    return found


def test_every_file_named_is_there() -> None:
    named = {name for row in rows() for name in re.findall(r"`([\w.-]+/[^`]+|pyproject\.toml)`", row[2])}
    assert len(named) > 30
    assert [name for name in sorted(named) if not (ROOT / name).is_file()] == []


def test_each_requirement_stands_once_with_where_it_is_met_or_why_it_is_not() -> None:
    every = list(chain.from_iterable(numbers(row[0]) for row in rows()))
    assert len(every) == len(set(every)) and len(every) > 100
    assert {number.split(".")[0] for number in every} == CHAPTERS
    bare = [row[0] for row in rows() if "`" not in row[2] and not re.match(r"(not met|does not apply)\b.*: \S", row[2])]
    assert bare == []
