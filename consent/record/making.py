"""Makes the papers of one sign-off: composed with it, sealed with the data they rest on, signed by the clinic."""

from __future__ import annotations

import secrets
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from consent.errors import MoveError, Problem
from consent.pack import compose_pack
from consent.record.canonical import digest
from consent.record.hindrances import hindrances
from consent.record.ledger import Person, read_head
from consent.record.moves import State
from consent.record.place import Record
from consent.record.state import AFTERCARE, CONSENT, CaseState, case_of
from consent.record.voiding import sheets_of
from consent.review import SignOff


@dataclass(frozen=True)
class Made:
    """Signed files that belong together, the digest of the data they carry, and what the entry says of them."""

    code: str
    files: tuple[bytes, ...]
    described: Mapping[str, Any]


def look(record: Record, case: CaseState) -> Iterator[Problem]:
    """What stands in the way of the next sign-off of ``case``."""
    stage = AFTERCARE if case.state is State.DONE else CONSENT
    return hindrances(compose_pack(case.case, record.clinic, sheets=sheets_of(stage)), stage)


def make_papers(record: Record, person: Person, data: Mapping[str, Any], stage: str) -> Made:
    """The papers of ``stage`` for the case in ``data``, signed off by ``person`` now.

    Raises ``MoveError`` with all that stands in the way, ``PrintError`` where a sheet would come out wrong,
    ``RecordError`` where the clinic's certificate cannot sign.
    """
    signed_off = SignOff(person.name, person.registration or "", record.clock())
    pack = compose_pack(case_of(data), record.clinic, sheets=sheets_of(stage), signed_off=signed_off)
    if problems := list(hindrances(pack, stage)):
        raise MoveError(problems)
    raise NotImplementedError(secrets, digest, read_head)
