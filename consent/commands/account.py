"""``consent account``: who may enter anything in the record."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING

from consent.commands import out
from consent.commands.passwords import ask, ask_new
from consent.commands.settings import find_record
from consent.errors import Problem, UsageError
from consent.record.accounts import (
    THIS_MACHINE,
    Account,
    change_account,
    close_account,
    make_account,
    read_accounts,
    set_password,
)
from consent.record.login import identify
from consent.record.moves import Role

if TYPE_CHECKING:
    from consent.record.place import Record


def run(options: argparse.Namespace) -> None:
    """Do what ``options.act`` says."""
    _ACTS[options.act](options)


def _add(options: argparse.Namespace) -> None:
    roles = _roles(options)
    record = find_record(options.record, options.clinic)
    by = _who(record, options.by).person if options.by else THIS_MACHINE
    password = ask_new(f"password for {options.login}")
    made = make_account(record, by, options.login, options.name, roles, password, options.registration)
    out.data(_line(made))
    if not made.own:
        out.chatter("Nobody can sign with a password somebody else chose: let them run consent account password.")


def _list(options: argparse.Namespace) -> None:
    record = find_record(options.record, options.clinic)
    with record.store.reading() as connection:
        found = sorted(read_accounts(connection, record.key).values(), key=lambda account: account.login)
    if options.json:
        out.as_json([_data(account) for account in found])
        return
    for account in found:
        out.data(_line(account))


def _change(options: argparse.Namespace) -> None:
    given = _roles(options)
    record = find_record(options.record, options.clinic)
    by = _who(record, options.by)
    changed = change_account(record, by.person, options.login, options.name, given, options.registration)
    out.data(_line(changed))


def _close(options: argparse.Namespace) -> None:
    record = find_record(options.record, options.clinic)
    closed = close_account(record, _who(record, options.by).person, options.login)
    out.data(_line(closed))
    out.chatter("What they entered stays.")


def _password(options: argparse.Namespace) -> None:
    record = find_record(options.record, options.clinic)
    by = _who(record, options.by or options.login)
    set_password(record, by.person, options.login, ask_new(f"new password for {options.login}"))
    out.data(f"{options.login}: the password was changed, and every session of it has ended")


def _who(record: Record, login: str) -> Account:
    return identify(record, login, ask(f"password of {login}"))


def _roles(options: argparse.Namespace) -> tuple[Role, ...]:
    unknown = [name for name in options.role if name not in list(Role)]
    if unknown:
        raise UsageError(
            Problem(f'there is no role "{unknown[0]}"', "--role", remedy=f"choose from: {', '.join(Role)}")
        )
    return tuple(Role(name) for name in dict.fromkeys(options.role))


def _line(account: Account) -> str:
    kind = f"{', '.join(account.roles)}{', closed' if account.closed else ''}"
    registration = f", registration {account.registration}" if account.registration else ""
    return f"{account.login}: {account.name} ({kind}){registration}"


def _data(account: Account) -> dict[str, object]:
    return {
        "login": account.login,
        "name": account.name,
        "roles": [role.value for role in account.roles],
        "registration": account.registration,
        "own_password": account.own,
        "closed": account.closed,
    }


_ACTS: dict[str, Callable[[argparse.Namespace], None]] = {
    "add": _add,
    "list": _list,
    "change": _change,
    "close": _close,
    "password": _password,
}
