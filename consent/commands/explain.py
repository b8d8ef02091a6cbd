"""``consent explain``: how one figure was reached."""

from __future__ import annotations

import argparse
import difflib

from consent.commands import out
from consent.commands.settings import read_both
from consent.compose import utter
from consent.errors import Problem, UsageError
from consent.language import Speaker
from consent.risk import Estimate, assess_risks, may_show_personal


def run(options: argparse.Namespace) -> None:
    """Print the chain of one outcome: every step with its value and source, then the citations."""
    case, clinic = read_both(options.case, options.clinic)
    found = {estimate.outcome: estimate for estimate in assess_risks(case, clinic)}
    estimate = found.get(options.outcome)
    if estimate is None:
        near = difflib.get_close_matches(options.outcome, found, n=1)
        hint = f'did you mean "{near[0]}"? ' if near else ""
        raise UsageError(
            Problem(
                f'there is no outcome "{options.outcome}"', "OUTCOME", remedy=f"{hint}there are: {', '.join(found)}"
            )
        )
    if options.json:
        out.as_json(_as_data(estimate))
        return
    _print(estimate, may_show_personal(estimate, case, clinic).missing)


def _as_data(estimate: Estimate) -> dict[str, object]:
    return {
        "outcome": estimate.outcome,
        "probability": estimate.probability,
        "interval": estimate.interval.__dict__ if estimate.interval else None,
        "single_figure": estimate.single_figure,
        "chain": [{"step": s.text, "value": s.value, "source": s.source} for s in estimate.chain],
        "sources": [s.__dict__ | {"verified": s.verified.value} for s in estimate.sources],
    }


def _print(estimate: Estimate, missing: tuple[str, ...]) -> None:
    out.data(estimate.outcome)
    for number, step in enumerate(estimate.chain, start=1):
        where = f"   [{step.source}]" if step.source else ""
        value = f": {step.value}" if step.value else ""
        out.data(f"{number:3}. {step.text}{value}{where}")
    speaker = Speaker("en")
    for note in estimate.assumptions:
        out.data(f"     assumed: {utter(speaker, note).plain}")
    out.data("")
    for source in estimate.sources:
        read = f", read in {source.read_in}" if source.read_in else ""
        out.data(f"[{source.reference}] {source.printed} ({source.role}; {source.verified.value}{read})")
        out.data(f"    {source.citation} {source.identifier}")
    if missing:
        out.data(f"The patient sees the usual eye's figure: {'; '.join(missing)}.")
