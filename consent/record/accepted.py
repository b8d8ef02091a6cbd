"""An acceptance of figures holds for the figures that whoever accepted them saw, and for no others."""

from __future__ import annotations

from dataclasses import replace

from consent.clinic import Clinic
from consent.record.act import Act
from consent.record.state import case_of
from consent.review import assess
from consent.risk import accepted_figures

ACCEPTED = "figures-accepted"


def with_figures(act: Act, clinic: Clinic) -> Act:
    """``act`` with the figures of the case as its person saw it, where it accepts them; another act as it is."""
    accepted = (act.data or {}).get("figures_accepted")
    if act.kind != ACCEPTED or act.data is None or not accepted:
        return act
    figures = accepted_figures(assess(case_of(act.data), clinic).risks.values())
    return replace(act, data={**act.data, "figures_accepted": {**accepted, "figures": list(figures)}})
