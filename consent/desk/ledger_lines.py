"""Entries of the ledger as they are read on its page: what and about whom, in words, and never a patient's name."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from markupsafe import Markup

from consent.desk.words import Words
from consent.language import Quoted
from consent.record.accounts import ACCOUNTS, Account
from consent.record.entering import REFUSALS
from consent.record.ledger import Entry
from consent.record.moves import moves

_OF_LOGIN, _UNKNOWN, _CASE = "login-", "login-unknown-", "case-"
_NOBODYS = frozenset({"machine", "nobody", "restore"})
"""Accounts that are no account: their entries are by this machine, by somebody unknown, by a restore."""


@dataclass(frozen=True)
class LedgerLine:
    """One entry. ``about``: the account it is about; ``case``: the name of the case, where it is about one; ``code``:
    what stands for a name that nobody has."""

    entry: Entry
    who: Markup
    what: Markup
    about: Markup | None
    case: str
    code: str


def ledger_lines(words: Words, found: Iterable[Entry], accounts: Mapping[str, Account]) -> tuple[LedgerLine, ...]:
    """``found`` as it is read, in its order; ``accounts``: every account by its id."""
    return tuple(_line(words, entry, accounts) for entry in found)


def _line(words: Words, entry: Entry, accounts: Mapping[str, Account]) -> LedgerLine:
    unknown = entry.subject.startswith(_UNKNOWN)
    return LedgerLine(
        entry,
        words.say(f"ledger.by.{entry.account}") if entry.account in _NOBODYS else words.typed(entry.person),
        _what(words, entry),
        words.say("ledger.unknown-name") if unknown else _account(words, accounts.get(_account_of(entry))),
        _case_of(entry),
        entry.subject.removeprefix(_UNKNOWN) if unknown else "",
    )


def _what(words: Words, entry: Entry) -> Markup:
    """The kind in words: of entries of a case in those of the record; a refusal with what was refused."""
    if entry.kind != "refused":
        named = _kind(words, entry.kind)
        return words.say(named) if named else words.typed(entry.kind)
    wanted = str(entry.body.get("kind", ""))
    if wanted == "signature":
        return words.say("ledger.kind.signature-refused")
    name = _kind(words, wanted)
    return words.say("ledger.kind.refused", what=words.said(name) if name else Quoted(wanted))


def _kind(words: Words, kind: str) -> str | None:
    """Id of the message that says ``kind``; None where the program knows no such entry."""
    own = f"ledger.kind.{kind}"
    return f"record.kind.{kind}" if kind in moves() else own if words.has(own) else None


def _account_of(entry: Entry) -> str:
    """Id of the account that the entry is about; nothing where it is about none."""
    if entry.subject == ACCOUNTS:
        return str(entry.body.get("account", ""))
    return entry.subject.removeprefix(_OF_LOGIN) if entry.subject.startswith(_OF_LOGIN) else ""


def _account(words: Words, account: Account | None) -> Markup | None:
    return words.say("ledger.account", name=Quoted(account.name), login=Quoted(account.login)) if account else None


def _case_of(entry: Entry) -> str:
    """Name of the case that the entry is about, also where what was refused was about one."""
    name = str(entry.body.get("case", "")) if entry.subject == REFUSALS else entry.subject
    return name if name.startswith(_CASE) else ""
