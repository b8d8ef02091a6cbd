"""``consent explain``: how one figure was reached."""

from __future__ import annotations

import argparse

from consent.commands import out
from consent.commands.settings import read_both
from consent.compose import utter
from consent.compose.chain import Chain, chain_of
from consent.language import Speaker
from consent.risk import assess_risks


def run(options: argparse.Namespace) -> None:
    """Print the chain of one outcome: every step with its value and source, then the citations."""
    case, clinic = read_both(options.case, options.clinic)
    chain = chain_of(options.outcome, assess_risks(case, clinic), case, clinic)
    if options.json:
        out.as_json(chain.as_data())
        return
    _print(chain)


def _print(chain: Chain) -> None:
    out.data(chain.outcome)
    for number, step in enumerate(chain.steps, start=1):
        where = f"   [{step.source}]" if step.source else ""
        value = f": {step.value}" if step.value else ""
        out.data(f"{number:3}. {step.text}{value}{where}")
    speaker = Speaker("en")
    for note in chain.assumed:
        out.data(f"     assumed: {utter(speaker, note).plain}")
    out.data("")
    for source, read in chain.sources:
        out.data(f"[{source.reference}] {source.printed} ({read})")
        out.data(f"    {source.citation} {source.identifier}")
    if chain.missing:
        out.data(f"The patient sees the usual eye's figure: {'; '.join(chain.missing)}.")
