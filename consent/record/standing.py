"""What the record says of a paper: does it hold now, was it replaced, since when and by what is it void."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from consent.compose.page_code import CodeParts
from consent.errors import Problem
from consent.record.cases import read_case_state
from consent.record.inspection import said
from consent.record.ledger import stored_hash
from consent.record.papers import Found, find_code, find_file
from consent.record.place import Record


def look_up(record: Record, file: str | None, code: str) -> tuple[Found | None, tuple[Problem, ...]]:
    """The paper with the SHA-256 ``file``, or the papers with ``code`` (hexadecimal, whole or its beginning), and every
    reason why it must not be relied on.

    A file whose code is known while it is not itself kept was made past this program, or altered since.
    """
    found = find_file(record, file) if file is not None else find_code(record, code)
    if found is None:
        return None, (_unknown(code, file is not None and find_code(record, code) is not None),)
    return found, tuple(_reasons(found))


def misnamed(record: Record, found: Found, parts: CodeParts) -> tuple[Problem, ...]:
    """A problem where a code names another record or version than the papers ``found`` by its digest were signed for.

    What was erased since cannot be compared.
    """
    case = read_case_state(record, found.case.subject, found.sealed.sequence)
    number = case.data.get("patient", {}).get("record_number", parts.record_number)
    if (parts.record_number, parts.version) == (number, found.sealed.version):
        return ()
    return (
        Problem(
            f"the code names record {parts.record_number}, version {parts.version}, but its papers were signed for "
            f"record {number}, version {found.sealed.version}",
            f"code {parts.digest[:10]}",
            "somebody put the code together from two papers",
            "do not rely on the page; hold it against the kept file: consent record papers",
        ),
    )


def anchored(record: Record, data: Mapping[str, Any]) -> tuple[Problem, ...]:
    """A problem where the ledger no longer holds the entry that was its last when the paper was made."""
    anchor = data.get("ledger", {})
    sequence, wanted = anchor.get("sequence", 0), anchor.get("hash")
    with record.store.reading() as connection:
        there = stored_hash(connection, sequence) if sequence else wanted
    if there == wanted:
        return ()
    return (
        Problem(
            f"entry {sequence} of the ledger is not the one this paper was signed after",
            "ledger",
            "the record was altered, or put back to an older state, after this paper left it",
            "keep paper and record as they are, run consent record check, and compare with a backup",
        ),
    )


def _reasons(found: Found) -> list[Problem]:
    sealed = found.sealed
    if sealed.void is not None:
        changed = sealed.void.body.get("changes") or ()
        what = f"void since {said(sealed.void.at)}: {sealed.void.person} entered {sealed.void.kind}"
        return [_not_current(what + (f", and {', '.join(changed)} would say something else" if changed else ""), found)]
    if sealed.superseded is not None:
        by = sealed.superseded
        return [_not_current(f"replaced on {said(by.at)} by version {by.body['sealed']['version']}", found)]
    return []


def _not_current(what: str, found: Found) -> Problem:
    held = found.case.sealed(found.sealed.stage)
    now = f"the version that holds is {held.version}" if held else "there is no version that holds now"
    return Problem(
        what,
        f"version {found.sealed.version}",
        f"it is what was signed then, and no longer what holds; {now}",
        f"hand out the papers that hold: consent record papers {found.case.subject}",
    )


def _unknown(code: str, code_is_known: bool) -> Problem:
    if code_is_known:
        return Problem(
            "this record knows the code, but not this file",
            f"code {code[:10]}",
            "the file was altered, or made past this program with the code of another",
            "hold it against the kept file: consent record papers",
        )
    return Problem(
        "this record does not know the paper",
        f"code {code[:10]}",
        "it is another clinic's, or it was made past this program, or this record is an older copy",
        "ask who handed it out",
    )
