"""A probability that is never naked: its interval, horizon, reference class and the chain that produced it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from consent.evidence import Cited, Verified
from consent.risk.score import ScoreCheck
from consent.wording import Remark

RangeKind = Literal[
    "95% interval",  # sampling interval of one published rate
    "sensitivity range",  # over published alternatives and unknown factors; not a confidence interval
    "arms over rupture",  # 95% limits of both arms, over the range of the probability of rupture
    "ratio interval only",  # 95% limits of a published ratio; the base rate was printed without one
    "spread over lens models",
]


@dataclass(frozen=True)
class Range:
    """Low and high end of a probability, as proportions, and what kind of range it is."""

    low: float
    high: float
    kind: RangeKind


@dataclass(frozen=True)
class Source:
    """One published figure that an estimate rests on."""

    reference: str
    printed: str
    group: str
    citation: str
    identifier: str
    years: str
    setting: str
    verified: Verified
    read_in: str | None
    role: str

    @property
    def series(self) -> str:
        """Id of the series the figure stands in."""
        return self.reference.partition("/")[0]


@dataclass(frozen=True)
class Step:
    """One line of ``consent explain``: what was done, with what value, from which source."""

    text: str
    value: str = ""
    source: str = ""


@dataclass(frozen=True)
class Driver:
    """One factor of the model in this eye: its odds ratio, or the largest it could have where it is not known."""

    factor: str
    ratio: float
    known: bool


@dataclass(frozen=True)
class Estimate:
    """What is known of one outcome for this eye. Probabilities are proportions in [0, 1].

    ``single_figure`` is false where an unknown factor could double the odds: then ``interval`` is what may be
    printed and ``probability`` is its value with every unknown factor taken as absent. ``applies`` is false for an
    outcome this operation cannot have, such as harm of a block where none is given. ``group`` names the eyes or people
    in whom this eye's figure was counted, where it is that of a group; ``group_assumed`` where nobody has yet looked
    whether this eye is one of them. ``unlooked`` names a group with another figure that this eye was taken not to
    belong to although nobody has looked.
    """

    outcome: str
    known: bool
    horizon: str
    population: str
    region: str
    years: str
    probability: float | None = None
    interval: Range | None = None
    usual: float | None = None
    usual_interval: Range | None = None
    personal: bool = False
    group: str | None = None
    group_assumed: bool = False
    unlooked: str | None = None
    single_figure: bool = True
    benefit: bool = False
    applies: bool = True
    other_population: float | None = None
    drivers: tuple[Driver, ...] = ()
    crosscheck: ScoreCheck | None = None
    assumptions: tuple[Remark, ...] = ()
    sources: tuple[Source, ...] = ()
    chain: tuple[Step, ...] = field(default=())

    @property
    def unknown_factors(self) -> tuple[str, ...]:
        """Factors of the model that the case does not say."""
        return tuple(driver.factor for driver in self.drivers if not driver.known)

    @property
    def weakest(self) -> Verified | None:
        """How far the least checked of its sources was checked; None where there is no source."""
        order = list(Verified)
        return max((source.verified for source in self.sources), key=order.index, default=None)


def as_source(cited: Cited, role: str) -> Source:
    """The citation of one figure, ready for the surgeon's sheet."""
    series, figure = cited.series, cited.figure
    identifier = f"doi:{series.doi}" if series.doi else f"PMID {series.pmid}" if series.pmid else "no identifier known"
    return Source(
        reference=cited.reference,
        printed=printed(cited),
        group=figure.group,
        citation=series.citation,
        identifier=identifier,
        years=series.years,
        setting=series.setting,
        verified=figure.verified,
        read_in=figure.read_in,
        role=role,
    )


def printed(cited: Cited) -> str:
    """The figure as its source prints it, with interval and counts where they were read."""
    figure = cited.figure
    unit = " %" if figure.unit == "percent" else ""
    text = f"{figure.value:g}{unit}" if figure.value is not None else ""
    if figure.low is not None and figure.high is not None:
        span = f"{figure.low:g} to {figure.high:g}{unit}"
        text = f"{text} ({span})" if text else span
    if figure.events is not None:
        text += f", {figure.events} of {figure.eyes}"
    return text


def rate_range(cited: Cited) -> Range | None:
    """The interval of a rate, with its kind; None where none was read."""
    limits = cited.figure.limits
    if limits is None:
        return None
    spread = cited.figure.interval == "spread over lens models"
    return Range(*limits, "spread over lens models" if spread else "95% interval")
