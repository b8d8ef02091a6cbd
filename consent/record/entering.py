"""One door to the record: whoever enters something is known, may do it, and proves it again where they sign."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from consent.case import Case
from consent.errors import AccessError, Problem
from consent.record.accounts import Account, read_accounts
from consent.record.act import Act
from consent.record.cases import Recorded, act_on, open_case
from consent.record.ledger import append
from consent.record.login import identify
from consent.record.moves import move, role_for
from consent.record.place import Record
from consent.record.signing import seal

if TYPE_CHECKING:
    from sqlalchemy import Connection

REFUSALS = "refusals"
"""Subject of the entries that tell what somebody was not allowed to do."""


def open_new(record: Record, account: Account, case: Case) -> Recorded:
    """Open ``case`` in the record. Raises ``AccessError`` where ``account`` may not."""
    account = _allowed(record, account, "opened", "")
    return open_case(record, account.person, case)


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
    if wanted.password:
        prove(record, account, password)
    if wanted.seals is not None:
        return seal(record, account.person, subject, act)
    return act_on(record, account.person, subject, act, before_commit)


def prove(record: Record, account: Account, password: str | None) -> None:
    """Raise ``AccessError`` unless ``password`` is the account's and chosen by its owner alone.

    Two parts to a signature, and one of them known to nobody else: 21 CFR 11.200(a); Information Technology Act 2000
    of India, section 3A(2).
    """
    if password is None:
        raise AccessError(Problem("the password is needed again", account.login, "a signature is a step of its own"))
    if not _standing(record, account).own:
        _keep_refusal(record, account, "signature", "")
        raise AccessError(
            Problem(
                "somebody else has chosen this password",
                account.login,
                "a signature must be under the signer's own control",
                "choose a password of your own first: consent account password",
            )
        )
    identify(record, account.login, password, "signature")


def _allowed(record: Record, account: Account, kind: str, subject: str) -> Account:
    """``account`` as it is now: since it was logged in, a lead may have closed it or taken away a role."""
    try:
        fresh = _standing(record, account)
        role_for(kind, fresh.person)
    except AccessError:
        _keep_refusal(record, account, kind, subject)
        raise
    return fresh


def _standing(record: Record, account: Account) -> Account:
    with record.store.reading() as connection:
        fresh = read_accounts(connection).get(account.id)
    if fresh is None or fresh.closed:
        raise AccessError(Problem("this account was closed", account.login, remedy="ask the clinic lead"))
    return fresh


def _keep_refusal(record: Record, account: Account, kind: str, subject: str) -> None:
    with record.store.writing() as connection:
        person, body = account.person, {"kind": kind, "case": subject}
        append(connection, record.key, person, person.roles[0], "refused", REFUSALS, body, record.clock())
