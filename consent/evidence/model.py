"""One published series as data: who was studied, each figure with its interval, and how far it was checked."""

from __future__ import annotations

import math
from enum import StrEnum
from statistics import NormalDist
from typing import Annotated, Literal

from pydantic import Field, StringConstraints, model_validator

from consent.case.part import Part

Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1)]
_TINY = 1e-9
"""Room for binary rounding."""
Slug = Annotated[str, Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$")]
Measure = Literal["rate", "odds ratio", "risk ratio", "hazard ratio", "mean change", "events per person-year"]
Interval = Literal[
    "printed",
    "printed, 99 percent",
    "Wilson",
    "Woolf",
    "spread over lens models",
    "spread over reports",
    "spread over thresholds",
]


class Verified(StrEnum):
    """How far a figure was checked, best first."""

    TABLE = "full-text table"
    ABSTRACT = "abstract"
    QUOTED = "quoted"
    MEMORY = "memory"

    @property
    def is_primary(self) -> bool:
        """Whether the figure was read in the paper itself."""
        return self in (Verified.TABLE, Verified.ABSTRACT)


class Use(StrEnum):
    """What a figure may be used for."""

    DEFAULT = "default"
    SENSITIVITY = "sensitivity"
    DISPLAY = "display"
    NOT_FOR_CALCULATION = "not for calculation"


def wilson(events: int, eyes: int, level: float = 0.95) -> tuple[float, float]:
    """Low and high limit of the Wilson score interval for ``events`` of ``eyes``, as proportions in [0, 1].

    Source: Wilson 1927, J Am Stat Assoc 22:209-212. Raises ``ValueError`` unless 0 <= events <= eyes, eyes > 0.
    """
    if not 0 <= events <= eyes or eyes == 0:
        raise ValueError(f"{events} events of {eyes} eyes is not a proportion")
    z = NormalDist().inv_cdf(0.5 + level / 2)
    p = events / eyes
    centre = p + z * z / (2 * eyes)
    half = z * math.sqrt(p * (1 - p) / eyes + z * z / (4 * eyes * eyes))
    scale = 1 + z * z / eyes
    low = 0.0 if events == 0 else (centre - half) / scale
    high = 1.0 if events == eyes else (centre + half) / scale
    return low, high


class Figure(Part):
    """One printed figure.

    A rate is in percent of operated eyes. Every other measure is a plain number with unit "ratio": a ratio of odds,
    risks or hazards; a mean change as a share of the value before; or events per person and year. The last two are no
    probability of an event and are only shown. An interval is printed by the source (95 percent unless it says 99),
    worked out from counts (Wilson for a rate, Woolf for a crude odds ratio), or no interval at all but a spread.
    """

    id: Slug
    outcome: Text
    group: Text
    measure: Measure
    value: float | None = None
    unit: Literal["percent", "ratio"]
    events: int | None = Field(None, ge=0)
    eyes: int | None = Field(None, gt=0)
    low: float | None = None
    high: float | None = None
    interval: Interval | None = None
    horizon: Text
    verified: Verified
    read_in: Text | None = None
    use: Use
    note: Text | None = None

    @model_validator(mode="after")
    def _hangs_together(self) -> Figure:
        self._check_limits()
        if (self.low is None) != (self.high is None) or (self.low is None) != (self.interval is None):
            raise ValueError("low, high and interval go together")
        if self.value is None and self.low is None:
            raise ValueError("a figure needs a value or a range")
        if None not in (self.value, self.low, self.high) and not self.low <= self.value <= self.high:  # type: ignore[operator]
            raise ValueError(f"value {self.value} lies outside its interval {self.low} to {self.high}")
        if (self.unit == "percent") != (self.measure == "rate"):
            raise ValueError("a rate is in percent, a ratio is a ratio")
        self._check_use()
        self._check_counts()
        return self

    def _check_limits(self) -> None:
        numbers = [number for number in (self.value, self.low, self.high) if number is not None]
        if self.measure == "rate" and not all(0 <= number <= 100 for number in numbers):
            raise ValueError("a rate lies between 0 and 100 percent")
        if self.measure in ("odds ratio", "risk ratio", "hazard ratio") and not all(number > 0 for number in numbers):
            raise ValueError("a ratio is above 0")
        if self.low is not None and self.high is not None and self.low > self.high:
            raise ValueError(f"low {self.low} is above high {self.high}")
        if (self.events is None) != (self.eyes is None):
            raise ValueError("events and eyes go together")
        if self.events is not None and self.eyes is not None and self.events > self.eyes:
            raise ValueError(f"{self.events} events of {self.eyes} eyes is not a rate")
        if self.interval == "Wilson" and self.events is None:
            raise ValueError("a Wilson interval needs events and eyes")

    def _check_use(self) -> None:
        if self.verified is Verified.QUOTED and not self.read_in:
            raise ValueError("a quoted figure says where it was read (read_in)")
        if self.verified is Verified.MEMORY and self.use in (Use.SENSITIVITY, Use.DISPLAY):
            raise ValueError("a figure from memory is not for calculation, or a default that says so")
        if self.use not in (Use.DEFAULT, Use.SENSITIVITY):
            return
        if self.measure in ("mean change", "events per person-year"):
            raise ValueError(f"{self.measure} is no probability: it can only be shown")
        if self.interval not in (None, "printed", "Wilson", "spread over lens models"):
            raise ValueError(f'an interval called "{self.interval}" can only be shown')

    def _check_counts(self) -> None:
        if self.events is None or self.eyes is None or self.value is None:
            return
        exact = 100 * self.events / self.eyes
        if abs(exact - self.value) > _last_digit(self.value):
            raise ValueError(f"{self.events} of {self.eyes} is {exact:.4g} percent, not {self.value}")
        if self.interval == "Wilson" and self.low is not None and self.high is not None:
            for exact_limit, limit in zip(wilson(self.events, self.eyes), (self.low, self.high), strict=True):
                if abs(100 * exact_limit - limit) > _last_digit(limit) / 2 + _TINY:
                    raise ValueError(f"the Wilson limit is {100 * exact_limit:.4g}, not {limit}")

    @property
    def probability(self) -> float:
        """The rate as a proportion, from counts where they are known. ``ValueError`` for a ratio or a bare range."""
        if self.measure != "rate" or self.value is None:
            raise ValueError(f"{self.id} is not a single rate")
        if self.events is not None and self.eyes is not None:
            return self.events / self.eyes
        return self.value / 100

    @property
    def limits(self) -> tuple[float, float] | None:
        """The interval in the figure's own terms: proportions for a rate, plain for a ratio; None if not read."""
        if self.events is not None and self.eyes is not None and self.interval in (None, "Wilson"):
            return wilson(self.events, self.eyes)
        if self.low is None or self.high is None:
            return None
        scale = 100 if self.unit == "percent" else 1
        return self.low / scale, self.high / scale


def _last_digit(value: float) -> float:
    """One unit of the last printed digit of ``value``, with room for binary rounding."""
    digits = f"{value:.10f}".rstrip("0")
    return 10.0 ** -len(digits.partition(".")[2]) + _TINY


class Level(Part):
    """One level of a factor. ``from_years`` and ``from_mm`` are the lower edges of a band, inclusive."""

    id: Text
    odds_ratio: float = Field(gt=0, le=20)
    low: float | None = Field(None, gt=0)
    high: float | None = Field(None, gt=0)
    from_years: int | None = Field(None, ge=0, le=120)
    from_mm: float | None = Field(None, ge=15, le=40)
    use: Use = Use.DEFAULT

    @model_validator(mode="after")
    def _limits_around_the_ratio(self) -> Level:
        if self.from_years is not None and self.from_mm is not None:
            raise ValueError("a band is in years or in mm, not both")
        if (self.low is None) != (self.high is None):
            raise ValueError("low and high go together")
        if self.low is not None and self.high is not None and not self.low <= self.odds_ratio <= self.high:
            raise ValueError(f"odds ratio {self.odds_ratio} lies outside {self.low} to {self.high}")
        return self

    @property
    def limits(self) -> tuple[float, float] | None:
        """The printed 95 percent limits of the odds ratio; None where none were read."""
        return (self.low, self.high) if self.low is not None and self.high is not None else None

    @property
    def edge(self) -> float | None:
        """Lower edge of a band, years or mm; None for a level that is no band."""
        return self.from_years if self.from_years is not None else self.from_mm


class Factor(Part):
    id: Text
    levels: tuple[Level, ...] = Field(min_length=2)

    @model_validator(mode="after")
    def _one_reference(self) -> Factor:
        if self.levels[0].odds_ratio != 1.0:
            raise ValueError(f"{self.id}: the first level is the reference and has odds ratio 1.00")
        edges = [edge for level in self.levels if (edge := level.edge) is not None]
        if edges and (len(edges) != len(self.levels) or edges != sorted(set(edges))):
            raise ValueError(f"{self.id}: bands need one rising lower edge each")
        if len({level.id for level in self.levels}) != len(self.levels):
            raise ValueError(f"{self.id}: a level stands twice")
        return self

    def level(self, name: str) -> Level:
        """The level called ``name``; ``KeyError`` if there is none."""
        for level in self.levels:
            if level.id == name:
                return level
        raise KeyError(f"{self.id} has no level {name}")

    def band(self, value: float) -> Level:
        """The band ``value`` falls in: the last one whose lower edge is not above it."""
        chosen = self.levels[0]
        for level in self.levels:
            if level.edge is not None and value >= level.edge:
                chosen = level
        return chosen


class OddsModel(Part):
    """A published logistic model: adjusted odds ratios on one reference probability."""

    outcome: Text
    reference_probability: Slug
    overall_probability: Slug
    operations: tuple[Text, ...] = Field(min_length=1)
    youngest_years: int = Field(ge=0, le=120)
    verified: Verified
    read_in: Text | None = None
    use: Use
    factors: tuple[Factor, ...]

    @model_validator(mode="after")
    def _consistent(self) -> OddsModel:
        if len({factor.id for factor in self.factors}) != len(self.factors):
            raise ValueError("a factor stands twice")
        if self.verified is Verified.QUOTED and not self.read_in:
            raise ValueError("a quoted model says where it was read (read_in)")
        return self

    def factor(self, name: str) -> Factor:
        """The factor called ``name``; ``KeyError`` if the model has none."""
        for factor in self.factors:
            if factor.id == name:
                return factor
        raise KeyError(name)


class ScoreItem(Part):
    """A finding of a published points score and what it counts."""

    id: Text
    points: int = Field(ge=1, le=10)


class ScoreGroup(Part):
    """Eyes with at least ``from_points`` (and fewer than the next group), and the figure observed in them."""

    from_points: int = Field(ge=0)
    figure: Slug


class Score(Part):
    """A published points score with the rates observed in its groups: a cross-check, never multiplied."""

    overall: Slug
    items: tuple[ScoreItem, ...] = Field(min_length=1)
    groups: tuple[ScoreGroup, ...] = Field(min_length=2)

    @model_validator(mode="after")
    def _rising(self) -> Score:
        edges = [group.from_points for group in self.groups]
        if edges != sorted(set(edges)) or edges[0] != 0:
            raise ValueError("the groups of a score start at 0 and rise")
        if len({item.id for item in self.items}) != len(self.items):
            raise ValueError("an item of the score stands twice")
        return self

    def group(self, points: int) -> ScoreGroup:
        """The group that ``points`` fall in."""
        return [group for group in self.groups if points >= group.from_points][-1]


class Series(Part):
    id: Slug
    citation: Text
    citation_note: Text | None = None
    doi: Annotated[str, Field(pattern=r"^10\.\d{4,9}/\S+$")] | None = None
    pmid: Annotated[str, Field(pattern=r"^\d{5,9}$")] | None = None
    design: Text
    setting: Text
    years: Text
    region: Text
    operations: int | None = Field(None, gt=0)
    definition: Text
    notes: tuple[Text, ...] = ()
    figures: tuple[Figure, ...] = Field(min_length=1)
    model: OddsModel | None = None
    score: Score | None = None

    @model_validator(mode="after")
    def _consistent(self) -> Series:
        names = [figure.id for figure in self.figures]
        if len(set(names)) != len(names):
            raise ValueError("a figure id stands twice")
        if self.doi is None and self.pmid is None and not self.citation.strip().endswith((".", ")")):
            raise ValueError("a series without DOI or PMID needs a full citation")
        if self.model and not {self.model.reference_probability, self.model.overall_probability} <= set(names):
            raise ValueError("the model's probabilities must be figures of this series")
        if self.model and not all(
            figure.measure == "rate" and figure.value is not None
            for figure in self.figures
            if figure.id in (self.model.reference_probability, self.model.overall_probability)
        ):
            raise ValueError("the model's probabilities must be single rates")
        if self.score and not {self.score.overall, *(group.figure for group in self.score.groups)} <= set(names):
            raise ValueError("the score's groups must be figures of this series")
        return self

    def figure(self, name: str) -> Figure:
        """The figure called ``name``; ``KeyError`` if the series has none."""
        for figure in self.figures:
            if figure.id == name:
                return figure
        raise KeyError(f"{self.id} has no figure {name}")
