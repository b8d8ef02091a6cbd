"""Does the record hold together: every entry, every key, every paper, every password, held against the chain."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from consent.errors import ConsentError, Problem
from consent.record.accounts import ACCOUNTS, fold_accounts
from consent.record.canonical import digest
from consent.record.cases import read_keys
from consent.record.keys import Purpose, decrypt
from consent.record.ledger import FIRST_PREVIOUS, entries, read_head
from consent.record.place import Record
from consent.record.replay import accounts_then, replayed
from consent.record.schema import KEYS, LEDGER, PAPERS, PASSWORDS, SESSIONS
from consent.record.state import CaseState, moments
from consent.record.triggers import altered_guards

if TYPE_CHECKING:
    from sqlalchemy import Connection


@dataclass(frozen=True)
class Checked:
    """What was looked at, every fault found, and the last entry (sequence and hash), to be kept elsewhere."""

    entries: int
    cases: int
    papers: int
    last: tuple[int, str]
    problems: tuple[Problem, ...]


def check_record(record: Record) -> Checked:
    """Hold everything in ``record`` against its chain, and each entry against the rules. Faults are returned, not
    raised, as far as it can be read.

    Raises ``RecordError`` where the store cannot even be read.
    """
    with record.store.reading() as connection:
        return check_moment(connection, record, rules=True)


def check_moment(connection: Connection, record: Record, rules: bool = False) -> Checked:
    """The same of what ``connection`` sees, so that a check and a copy are of one moment.

    Without ``rules`` for a copy: it is whole whatever was entered, and no later version's rules may keep it from use.
    """
    problems = [*_file(connection), *altered_guards(connection)]
    count, last, chain = _chain(connection)
    problems += chain
    problems += _caught(lambda: read_head(connection, record.key))
    if problems:
        return Checked(count, 0, 0, (count, last), tuple(problems))
    cases, found = _cases(connection, record, rules)
    problems += found
    papers = _papers(connection, record, cases)
    problems += [*papers, *_passwords(connection), *_sessions(connection, record)]
    total = sum(len(sealed.papers) for case in cases for sealed in case.sets)
    return Checked(count, len(cases), total, (count, last), tuple(problems))


def _file(connection: Connection) -> Iterator[Problem]:
    """What SQLite finds in its own pages and indexes. PostgreSQL has pg_amcheck for that, for who keeps the server."""
    if connection.dialect.name != "sqlite":
        return
    for (found,) in connection.exec_driver_sql("PRAGMA integrity_check"):
        if found != "ok":
            yield _fault(f"the file is damaged: {found}", "file")
    for table, _, parent, _ in connection.exec_driver_sql("PRAGMA foreign_key_check"):
        yield _fault(f"a row of {table} names an entry of {parent} that is not there", table)


def _chain(connection: Connection) -> tuple[int, str, list[Problem]]:
    """Number of entries, hash of the last, and each place where the chain does not hold."""
    count, previous, problems = 0, FIRST_PREVIOUS, []
    rows = LEDGER.select().order_by(LEDGER.c.sequence).execution_options(yield_per=2000)
    for row in connection.execute(rows):
        count += 1
        if fault := _row_fault(row, count, previous):
            problems.append(_fault(fault, f"entry {row.sequence}"))
            if len(problems) == _ENOUGH:
                break
            count = row.sequence
        previous = row.hash
    return count, previous, problems


_ENOUGH = 20
"""Faults of the chain after which more would tell nobody anything."""


def _row_fault(row: Any, expected: int, previous: str) -> str | None:
    if not isinstance(row.content, str):
        return "it cannot be read"
    if digest(row.content.encode(errors="surrogatepass")) != row.hash:
        return "its words are not those that were recorded"
    try:
        content = json.loads(row.content)
        told, before, filed = content["sequence"], content["previous"], (content["subject"], content["kind"])
    except (ValueError, KeyError, TypeError, RecursionError):
        return "it cannot be read"
    if row.sequence != expected or told != row.sequence:
        return f"entry {expected} should stand here: entries were taken out, put in or moved"
    if before != previous:
        return "it does not follow on the one before it"
    if filed != (row.subject, row.kind):
        return "what it is filed under was altered"
    return None


def _cases(connection: Connection, record: Record, rules: bool) -> tuple[list[CaseState], list[Problem]]:
    opened = LEDGER.select().where(LEDGER.c.kind == "opened").order_by(LEDGER.c.sequence)
    subjects = [row.subject for row in connection.execute(opened)]
    cases: list[CaseState] = []
    problems: list[Problem] = []
    then = accounts_then(connection)

    def look(subject: str) -> None:
        told = tuple(moments(subject, entries(connection, subject), read_keys(connection, record, subject)))
        problems.extend(replayed(told, then) if rules else ())
        cases.append(_slim(told[-1]))

    for subject in subjects:
        problems += _caught(lambda subject=subject: look(subject))
    for case in cases:
        problems += _keys(connection, case)
    known = {case.subject for case in cases}
    if len(cases) == len(subjects):
        owners = {row.subject for row in connection.execute(KEYS.select())}
        problems += [_fault("a key of nobody's case", owner) for owner in sorted(owners - known)]
    return cases, problems


def _slim(case: CaseState) -> CaseState:
    if case.erased is None:
        _ = case.case
    # What is compared with the other tables is kept; ten thousand cases with all they say would fill the memory.
    return replace(case, data={}, history=())


def _keys(connection: Connection, case: CaseState) -> Iterator[Problem]:
    kept = {row.purpose for row in connection.execute(KEYS.select().where(KEYS.c.subject == case.subject))}
    wanted = {purpose.value for purpose in Purpose}
    if case.erased is not None:
        wanted -= set(case.erased.body.get("destroyed", ()))
    if kept != wanted:
        what = "a key is missing that was never destroyed" if wanted - kept else "a key is there that was destroyed"
        yield _fault(what, case.subject)


def _papers(connection: Connection, record: Record, cases: list[CaseState]) -> Iterator[Problem]:
    wanted = {
        paper.digest: (case, sealed.code, sealed.sequence)
        for case in cases
        for sealed in case.sets
        for paper in sealed.papers
        if case.erased is None
    }
    for row in connection.execute(PAPERS.select().execution_options(yield_per=20)):
        expected = wanted.pop(row.digest, None)
        if expected is None:
            yield _fault("a paper is kept that no entry names", row.digest)
            continue
        case, code, sequence = expected
        if (row.subject, row.code, row.sequence) != (case.subject, code, sequence):
            yield _fault("a paper is filed under another case or another sign-off", row.digest)
            continue
        key = read_keys(connection, record, case.subject)[Purpose.IDENTITY]
        yield from _caught(lambda row=row, key=key: _paper(row, key))
    for missing, (case, _, _) in wanted.items():
        yield _fault("a signed paper is missing", f"{case.subject}: {missing}")


def _paper(row: Any, key: bytes) -> None:
    found = digest(decrypt(key, row.sealed, f"{row.subject} paper {row.digest}", compressed=False))
    if found != row.digest:
        raise ConsentError(_fault("a signed paper is not the one that was kept", row.digest))


def _passwords(connection: Connection) -> Iterator[Problem]:
    accounts = fold_accounts(entries(connection, ACCOUNTS))
    rows = {row.account: row for row in connection.execute(PASSWORDS.select())}
    for name in sorted(accounts.keys() | rows.keys()):
        account, row = accounts.get(name), rows.get(name)
        if account is None or row is None or digest(row.hash.encode()) != account.password:
            yield _fault("the kept password is not the one that was set", name)
        elif row.sequence != _set_at(connection, name):
            yield _fault("the kept password names another entry than the one that set it", name)


def _set_at(connection: Connection, account: str) -> int:
    own = (entry for entry in entries(connection, ACCOUNTS) if entry.body["account"] == account)
    return max(entry.sequence for entry in own if entry.kind == "password-set")


def _sessions(connection: Connection, record: Record) -> Iterator[Problem]:
    for row in connection.execute(SESSIONS.select()):
        if not record.key.stamped(row.stamp, "session", row.token, row.account, row.made_at, row.seen_at):
            yield _fault("a session was put in or altered past this program", row.account)


def _caught(look: Any) -> list[Problem]:
    try:
        look()
    except ConsentError as failure:
        return list(failure.problems)
    return []


def _fault(what: str, where: str) -> Problem:
    return Problem(
        what,
        where,
        "somebody altered the record past this program, or the disk did",
        "stop writing, copy the record as it is, and restore the last backup beside it to compare",
    )
