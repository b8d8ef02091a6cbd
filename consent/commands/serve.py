"""``consent serve``: the pages in a browser."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from consent.clinic import read_clinic
from consent.commands import out
from consent.commands.settings import clinic_path, record_place
from consent.errors import Problem, UsageError

if TYPE_CHECKING:
    from consent.desk.serving import Tls


def run(options: argparse.Namespace) -> None:
    """Serve until stopped; say first where, and by which certificate."""
    from consent.desk.office import DeskSettings
    from consent.desk.serving import fingerprint, own_certificate, refuse_open_network, serve
    from consent.record.place import open_record

    names = tuple(dict.fromkeys((*options.name, *_own(options.host))))
    clinic = clinic_path(options.clinic)
    record = open_record(record_place(options.record), read_clinic(clinic))
    tls = _given(options) or (own_certificate(record.place.folder, names) if options.tls else None)
    refuse_open_network(options.host, tls)
    settings = DeskSettings(names, options.port, tls is not None, clinic, printers=options.printers)
    out.data(settings.address)
    if tls is not None:
        out.chatter(f"certificate, SHA-256: {fingerprint(tls)}")
    out.chatter("Stop with Ctrl-C. What was entered is kept.")
    serve(record, settings, options.host, tls)


def _own(host: str) -> tuple[str, ...]:
    everywhere = ("0.0.0.0", "::")  # noqa: S104  named to be told apart, and only served by TLS
    return ("127.0.0.1", "localhost") if host in everywhere else (host, "127.0.0.1", "localhost")


def _given(options: argparse.Namespace) -> Tls | None:
    from consent.desk.serving import Tls

    if bool(options.certificate) != bool(options.key):
        raise UsageError(Problem("a certificate and its key go together", "--certificate, --key"))
    return Tls(Path(options.certificate), Path(options.key)) if options.certificate else None
