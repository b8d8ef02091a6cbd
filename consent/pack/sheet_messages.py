"""Which messages stand on which sheet: gathered from the shipped examples, for whoever checks the words of a sheet."""

from __future__ import annotations

from collections.abc import Mapping

from consent.case import read_case
from consent.clinic import Clinic
from consent.pack.compose import compose_pack
from consent.resources import package_data

ELSEWHERE = "elsewhere"
"""Messages that no example says: of rarer cases, of telephones, of the pages."""


def messages_of_sheets(clinic: Clinic, ids: frozenset[str]) -> Mapping[str, frozenset[str]]:
    """Of the messages ``ids``, those that stand on each sheet when the examples are made, and those that do not."""
    cases = [read_case(path) for path in sorted(package_data("case", "examples").glob("*.toml"))]
    found: dict[str, frozenset[str]] = {}
    for case in cases:
        for sheet, said in compose_pack(case, clinic, ("en",)).said.items():
            found[sheet] = found.get(sheet, frozenset()) | (said & ids)
    left = ids.difference(*found.values())
    return {**found, ELSEWHERE: left} if left else found
