"""Tables of drugs and regimens by name, read whole with every fault, and advice for a name that is not known."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Mapping
from types import MappingProxyType
from typing import Any

from consent.case.reading import ModelT, validate
from consent.errors import DropsError, Problem

Faults = Iterable[tuple[str, str]]
"""Key and what is wrong with it."""


def parse_named(
    tables: Mapping[str, Mapping[str, Any]],
    model: type[ModelT],
    where: str,
    faults: Callable[[ModelT], Faults] = lambda _: (),
) -> Mapping[str, ModelT]:
    """Return a ``model`` with the id of its table for each of ``tables`` (id -> keys), by id.

    Raises ``DropsError`` with one problem per fault, those of ``faults`` among them: ``where``, the id and the key.
    """
    found: dict[str, ModelT] = {}
    problems: list[Problem] = []
    for name, table in tables.items():
        place = f"{where}.{name}"
        if "id" in table:
            problems.append(Problem("the id is the name of the table", f"{place}: id", remedy="remove this key"))
            continue
        try:
            found[name] = validate({**table, "id": name}, model, DropsError, place)
        except DropsError as error:
            problems.extend(error.problems)
            continue
        problems.extend(Problem(what, f"{place}: {key}") for key, what in faults(found[name]))
    if problems:
        raise DropsError(problems)
    return MappingProxyType(found)


def nearest(wrong: str, known: Iterable[str]) -> str:
    """Return the advice to print for a ``wrong`` id: the nearest known one, else all that are known."""
    ids = sorted(known)
    near = difflib.get_close_matches(wrong, ids, n=1, cutoff=0.5)
    return f'did you mean "{near[0]}"?' if near else f"known are: {', '.join(ids)}"
