"""How one figure was reached: every step with value and source, what was assumed, what each source is and how it was
read. The same for a terminal and for a page."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass

from consent.case import Case
from consent.clinic import Clinic
from consent.errors import Problem, UsageError
from consent.risk import Estimate, Source, Step, may_show_personal
from consent.wording import Remark


@dataclass(frozen=True)
class Chain:
    """``missing``: why the patient sees the usual eye's figure and not this eye's; empty where they see their own."""

    estimate: Estimate
    missing: tuple[str, ...]

    @property
    def outcome(self) -> str:
        """Which outcome the figure is of."""
        return self.estimate.outcome

    @property
    def steps(self) -> tuple[Step, ...]:
        """What was done, in its order; the words are English, as in the library of evidence."""
        return self.estimate.chain

    @property
    def assumed(self) -> tuple[Remark, ...]:
        """What was taken as given."""
        return self.estimate.assumptions

    @property
    def sources(self) -> tuple[tuple[Source, str], ...]:
        """Each source with what it was used for, how far it was checked and where it was read."""
        return tuple((source, _read(source)) for source in self.estimate.sources)

    def as_data(self) -> dict[str, object]:
        """The chain ready for JSON."""
        estimate = self.estimate
        return {
            "outcome": estimate.outcome,
            "probability": estimate.probability,
            "interval": estimate.interval.__dict__ if estimate.interval else None,
            "single_figure": estimate.single_figure,
            "chain": [{"step": s.text, "value": s.value, "source": s.source} for s in self.steps],
            "sources": [s.__dict__ | {"verified": s.verified.value} for s in estimate.sources],
        }


def chain_of(outcome: str, estimates: Iterable[Estimate], case: Case, clinic: Clinic) -> Chain:
    """The chain of ``outcome``. Raises ``UsageError`` with the nearest name where there is no such outcome."""
    found = {estimate.outcome: estimate for estimate in estimates}
    if (estimate := found.get(outcome)) is None:
        near = difflib.get_close_matches(outcome, found, n=1)
        hint = f'did you mean "{near[0]}"? ' if near else ""
        remedy = f"{hint}there are: {', '.join(found)}"
        raise UsageError(Problem(f'there is no outcome "{outcome}"', "OUTCOME", remedy=remedy))
    return Chain(estimate, may_show_personal(estimate, case, clinic).missing)


def _read(source: Source) -> str:
    read = f", read in {source.read_in}" if source.read_in else ""
    return f"{source.role}; {source.verified.value}{read}"
