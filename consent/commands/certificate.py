"""``consent record certificate``: the clinic's certificate shown, handed out, or exchanged for another."""

from __future__ import annotations

import argparse
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from consent.commands import out
from consent.commands.passwords import ask
from consent.commands.settings import find_record
from consent.errors import AccessError, Problem, UsageError

if TYPE_CHECKING:
    from consent.record.certificate import Certificate
    from consent.record.ledger import Person
    from consent.record.place import Record


def run(options: argparse.Namespace) -> None:
    """Exchange the certificate where told so, then print it, and write it where told so."""
    from consent.record.certificate import pem
    from consent.record.keeping_certificate import read_own_certificate

    with closing(find_record(options.record, options.clinic)) as record:
        if options.new or options.bring:
            _exchange(record, options)
        certificate = read_own_certificate(record).certificate
    _print(certificate, options.json)
    if options.to:
        out.file(Path(options.to), pem(certificate))
        out.chatter(f"Written to {options.to}: it holds no secret, and consent verify --certificate takes it.")


def _exchange(record: Record, options: argparse.Namespace) -> None:
    from consent.record.keeping_certificate import bring_certificate, renew_local_certificate

    person = _lead(record, options)
    if options.new:
        renew_local_certificate(record, person)
    else:
        bring_certificate(record, person, Path(options.bring), ask(f"passphrase of {options.bring}"))
    out.chatter("Papers are signed with this certificate from now on; those signed so far keep.")
    out.chatter("Make a backup: it holds the certificate.")


def _lead(record: Record, options: argparse.Namespace) -> Person:
    """Who exchanges it: a clinic lead, with a password entered again."""
    from consent.record.entering import prove
    from consent.record.login import identify
    from consent.record.moves import Role

    if not options.by:
        raise UsageError(Problem("nobody is named", "consent record certificate", remedy="say who you are with --as"))
    password = ask(f"password of {options.by}")
    account = identify(record, options.by, password)
    if Role.LEAD not in account.roles:
        raise AccessError(Problem("only a clinic lead exchanges the clinic's certificate", options.by))
    prove(record, account, password)
    return account.person


def _print(certificate: Certificate, as_json: bool) -> None:
    told = {
        "names": certificate.subject,
        "fingerprint": certificate.fingerprint,
        "valid_from": certificate.valid_from.isoformat(),
        "valid_to": certificate.valid_to.isoformat(),
    }
    if as_json:
        out.as_json(told)
        return
    for name, value in told.items():
        out.data(f"{name.replace('_', ' ')}: {value}")
