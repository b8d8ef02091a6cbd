"""All that one signed version of a case says, as one canonical object: what the code on each page is the digest of."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from consent import __version__
from consent.errors import EvidenceError
from consent.evidence import library
from consent.language import catalogue_path
from consent.language.status import status_path
from consent.pack import Pack, assessment_data
from consent.record.canonical import canonical, digest
from consent.review import profile
from consent.risk import Source

SCHEMA_VERSION = 1
DATA_FILE = "consent-data.json"
"""Name under which every sealed paper carries the object."""


@dataclass(frozen=True)
class SealedData:
    """The object as JSON by RFC 8785, and its SHA-256, hexadecimal."""

    content: bytes
    digest: str


def sealed_data(pack: Pack, salt: str, ledger: Mapping[str, Any]) -> SealedData:
    """The data of ``pack``, which was composed with its sign-off.

    ``salt``: hexadecimal, fresh for each paper, so that nobody finds the data by trying digests. ``ledger``:
    ``sequence`` and ``hash`` of its last entry when the papers were made. Raises ``ValueError`` without a sign-off.
    """
    assessment = pack.assessment
    if assessment.signed_off is None:
        raise ValueError("only what was signed off is sealed")
    case, clinic = assessment.case, assessment.clinic
    content = canonical(
        {
            "schema": SCHEMA_VERSION,
            "program": __version__,
            "salt": salt,
            "ledger": {"sequence": ledger["sequence"], "hash": ledger["hash"]},
            "record_number": case.patient.record_number,
            "eye": case.eye.side.value,
            "version": case.version,
            "case": case.model_dump(mode="json", by_alias=True, exclude_none=True),
            "clinic": clinic.model_dump(mode="json", by_alias=True, exclude_none=True),
            "assessment": assessment_data(pack),
            "evidence": [_figure(source) for source in _sources(pack)],
            "profile": {"id": clinic.profile, "dated": profile(clinic.profile).dated.isoformat()},
            "words": {tag: _words(tag) for tag in _tags(pack)},
        }
    )
    return SealedData(content, digest(content))


def _sources(pack: Pack) -> list[Source]:
    """Every published figure that an estimate of the pack rests on, once, in order of its name."""
    found = {source.reference: source for risk in pack.assessment.risks.values() for source in risk.sources}
    return [found[name] for name in sorted(found)]


def _figure(source: Source) -> dict[str, Any]:
    """The figure as the library holds it; what is no single figure, such as a whole model, as it was printed."""
    series, _, name = source.reference.partition("/")
    told = {
        "series": series,
        "figure": name,
        "printed": source.printed,
        "citation": source.citation,
        "identifier": source.identifier,
        "verified": source.verified.value,
        "read_in": source.read_in,
    }
    try:
        figure = library().cited(source.reference).figure
    except EvidenceError:
        return told
    interval = None if figure.interval is None else {"low": figure.low, "high": figure.high, "kind": figure.interval}
    return {**told, "value": figure.value, "unit": figure.unit, "interval": interval}


def _tags(pack: Pack) -> Iterator[str]:
    yield from sorted({tag for document in pack.documents for tag, _ in document.languages})


def _words(tag: str) -> dict[str, str]:
    return {"catalogue": _file_digest(catalogue_path(tag)), "status": _file_digest(status_path(tag))}


def _file_digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
