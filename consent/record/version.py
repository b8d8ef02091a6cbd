"""The version on paper: raised by whatever makes signed papers void, and where prints have to be told apart."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from consent.clinic import Clinic
from consent.record.act import Act
from consent.record.moves import State, move
from consent.record.state import CONSENT, CaseState, case_of
from consent.record.voiding import voided_by


def with_version(before: CaseState, act: Act, clinic: Clinic) -> Act:
    """``act`` with what it makes void named in it, the version raised for it, and the state it falls back to.

    Consent papers that no longer say what is so take the case back to a draft: it is told and signed anew.
    """
    if before.state is State.NONE or move(act.kind).quiet:
        return act
    data = None if act.data is None else _told_apart(act.data)
    found = voided_by(act.kind, before, None if data is None else case_of(data), clinic)
    if found is None:
        return replace(act, data=data)
    papers, changed = found
    data = dict(before.data if data is None else data)
    data["version"] = max(int(data["version"]), papers.version + 1)
    back = State.DRAFT if papers.stage == CONSENT and move(act.kind).to is None else act.to
    return replace(act, data=data, to=back, open_={**act.open_, "voids": papers.code, "changes": list(changed)})


def _told_apart(data: Mapping[str, Any]) -> dict[str, Any]:
    """``data`` with a version for each print of the drops; a regimen ordered after surgery is one."""
    ordered = data.get("done", {}).get("regimen")
    prints = len(data.get("drop_changes", ())) + (ordered is not None and ordered != data["plan"].get("regimen"))
    return {**data, "version": max(int(data["version"]), prints + 1)}
