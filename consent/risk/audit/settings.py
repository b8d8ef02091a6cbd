"""Puts an audit into the text of a clinic's settings, leaving comments and everything else as they stand."""

from __future__ import annotations

import tomllib
from collections.abc import MutableMapping
from typing import Any

from consent.clinic import Audit
from consent.errors import ClinicError, Problem


def audit_table(audit: Audit) -> dict[str, Any]:
    """The keys of [audit] and their values, without those that are not given."""
    return audit.model_dump(exclude_none=True)


def audit_snippet(audit: Audit) -> str:
    """The table [audit] as TOML, ready to be put into a clinic's settings by hand."""
    import tomlkit

    return tomlkit.dumps({"audit": audit_table(audit)})


def with_audit(text: str, audit: Audit, where: str) -> str:
    """``text`` of a clinic's settings (TOML) with ``audit`` in place of any other; comments are kept.

    Raises ``ClinicError`` where the file is written in a way that cannot be changed without touching the rest.
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    try:
        document = tomlkit.parse(text)
        if not isinstance(document.get("audit", {}), MutableMapping):
            raise _cannot(where, "its audit is not one table")
        _put(document, audit_table(audit))
        changed = tomlkit.dumps(document)
    except TOMLKitError as failure:
        raise _cannot(where, str(failure)) from failure
    if tomllib.loads(changed) != {**tomllib.loads(text), "audit": audit_table(audit)}:
        raise _cannot(where, "something else would have changed")
    return changed


def _put(document: Any, values: dict[str, Any]) -> None:
    """Set the keys of [audit]. What stands after its last key belongs to the next table and stays in front of it."""
    import tomlkit
    from tomlkit.items import Table

    if "audit" not in document:
        if document.as_string().strip():
            document.add(tomlkit.nl())
        document.add("audit", tomlkit.table())
    table = document["audit"]
    for key in [key for key in table if key not in values]:
        del table[key]
    body = table.value.body if isinstance(table, Table) else []
    tail = []
    while body and body[-1][0] is None:
        tail.append(body.pop())
    for key, value in values.items():
        table[key] = value
    body.extend(reversed(tail))


def _cannot(where: str, reason: str) -> ClinicError:
    remedy = "put the lines printed under [audit] into it by hand"
    return ClinicError(Problem(f"the audit cannot be put into this file ({reason})", where, remedy=remedy))
