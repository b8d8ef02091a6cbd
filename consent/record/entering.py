"""One door to the record: whoever enters something is known, may do it, and proves it again where they sign."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING

from consent.case import Case
from consent.errors import AccessError, MoveError, Problem
from consent.record.accounts import Account, read_accounts
from consent.record.act import Act
from consent.record.cases import Recorded, act_on, open_case
from consent.record.ledger import append
from consent.record.login import identify
from consent.record.moves import move, role_for
from consent.record.place import Record
from consent.record.signing import seal
from consent.wording import remark

if TYPE_CHECKING:
    from sqlalchemy import Connection

REFUSALS = "refusals"
"""Subject of the entries that tell what somebody was not allowed to do."""


def open_new(record: Record, account: Account, case: Case) -> Recorded:
    """Open ``case`` in the record. Raises ``AccessError`` where ``account`` may not."""
    account = _allowed(record, account, "opened", "")
    with _refusals_kept(record, account, "opened", ""):
        return open_case(record, account.person, case, partial(_refuse_changed, record, account))


def enter(
    record: Record,
    account: Account,
    subject: str,
    act: Act,
    password: str | None = None,
    before_commit: Callable[[Connection, Recorded], None] | None = None,
) -> Recorded:
    """Record ``act`` on the case ``subject`` for ``account``, and return it once it is kept.

    Kinds that sign need the ``password`` again; those that seal make the papers and keep them with the entry. A
    refusal is an entry of its own. Raises ``AccessError``, ``MoveError``, ``ConflictError``, ``CaseError`` or, where
    a paper cannot be made, what the printing raised; then nothing else was recorded. ``before_commit`` does more in
    the same transaction, where nothing is sealed.
    """
    wanted = move(act.kind)
    account = _allowed(record, account, act.kind, subject)
    _refuse_dictated(act)
    if wanted.password:
        prove(record, account, password)
    with _refusals_kept(record, account, act.kind, subject):
        if wanted.seals is not None:
            return seal(record, account.person, subject, act, partial(_refuse_changed, record, account))
        return act_on(record, account.person, subject, act, before_commit, partial(_refuse_changed, record, account))


def _refuse_dictated(act: Act) -> None:
    """Where a case goes with an entry, and which papers it seals or ends, is worked out here and never handed in."""
    beyond = sorted(act.open_.keys() - set(move(act.kind).open))
    if act.to is not None or beyond:
        what = f'the state "{act.to}"' if act.to is not None else beyond[0]
        raise MoveError(
            Problem(
                f"{what} is not for the one who enters to say",
                act.kind,
                "it follows from the entry and the case",
                "enter what happened; the record works out the rest",
            )
        )


def prove(record: Record, account: Account, password: str | None) -> None:
    """Raise ``AccessError`` unless ``password`` is the account's and chosen by its owner alone.

    Two parts to a signature, and one of them known to nobody else: 21 CFR 11.200(a); Information Technology Act 2000
    of India, section 3A(2).
    """
    if password is None:
        raise AccessError(
            Problem(
                "the password is needed again",
                account.login,
                "a signature is a step of its own",
                said=remark("problem.password-again"),
            )
        )
    if not _standing(record, account).own:
        _keep_refusal(record, account, "signature", "")
        raise AccessError(
            Problem(
                "somebody else has chosen this password",
                account.login,
                "a signature must be under the signer's own control",
                "choose a password of your own first: consent account password",
                remark("problem.first-password"),
            )
        )
    identify(record, account.login, password, "signature")


def _allowed(record: Record, account: Account, kind: str, subject: str) -> Account:
    """``account`` as it is now: since it was logged in, a lead may have closed it or taken away a role."""
    with _refusals_kept(record, account, kind, subject):
        fresh = _standing(record, account)
        role_for(kind, fresh.person)
    return fresh


@contextmanager
def _refusals_kept(record: Record, account: Account, kind: str, subject: str) -> Iterator[None]:
    """An ``AccessError`` within is kept as an entry of its own."""
    try:
        yield
    except AccessError:
        _keep_refusal(record, account, kind, subject)
        raise


def _standing(record: Record, account: Account) -> Account:
    with record.store.reading() as connection:
        return _open_account(connection, record, account)


def _open_account(connection: Connection, record: Record, account: Account) -> Account:
    fresh = read_accounts(connection, record.key).get(account.id)
    if fresh is None or fresh.closed:
        said = remark("problem.account-closed")
        raise AccessError(Problem("this account was closed", account.login, "", "ask the clinic lead", said))
    return fresh


def _refuse_changed(record: Record, account: Account, connection: Connection) -> None:
    """Raise ``AccessError`` where ``account`` is no longer what it was when its papers were begun."""
    if _open_account(connection, record, account).person != account.person:
        raise AccessError(
            Problem(
                "this account was changed meanwhile",
                account.login,
                "name, roles and registration would not be those under the entry",
                "look at what changed, then enter it again",
                remark("problem.account-changed"),
            )
        )


def _keep_refusal(record: Record, account: Account, kind: str, subject: str) -> None:
    """What was refused, in the clear: of the case its name in the record, and nothing that was typed in its place."""
    case = subject if re.fullmatch(r"case-[0-9a-f]{16}", subject) else ""
    with record.store.writing() as connection:
        person, body = account.person, {"kind": kind, "case": case}
        append(connection, record.key, person, person.roles[0], "refused", REFUSALS, body, record.clock())
