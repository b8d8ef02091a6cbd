"""Observed against expected: the worked example, exact limits, surgeons, groups, and the picture.

Calibration: Van Calster 2019, BMC Med 17:230. Update of the intercept: Steyerberg 2004, doi:10.1002/sim.1844.
Shrinkage: Dimick 2010, doi:10.1111/j.1475-6773.2010.01158.x. Odds ratios: Narendran 2009, as in the library.
Reference libraries: scipy, statsmodels.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Sequence

import numpy as np
import pytest
from scipy.stats import chi2, gamma, poisson

from consent.case.table import Row, Table
from consent.clinic import Clinic
from consent.evidence import OddsModel, wilson
from consent.risk import risk_plan
from consent.risk.audit.calibration import (
    AuditedEye,
    Calibration,
    Scale,
    calibrate,
    model_scale,
    poisson_ratio_limits,
    risk_groups,
)
from consent.risk.audit.picture import calibration_lines, calibration_svg, picture_limit, picture_tick
from consent.risk.audit.rows import read_cases
from consent.risk.intercept import find_intercept
from consent.risk.odds import combine, odds

MODEL_ODDS = 0.0075 / 0.9925  # 0.00755668: reference probability 0.75 percent
ONE = Scale(MODEL_ODDS, 1.0)


def eyes(risk: float, operations: int, events: int, surgeon: str = "") -> list[AuditedEye]:
    """``operations`` eyes of one expected risk, the first ``events`` of them with an event."""
    c = odds(risk) / MODEL_ODDS
    return [AuditedEye(place < events, c, c, surgeon=surgeon) for place in range(operations)]


def found(audited: Sequence[AuditedEye], scale: Scale = ONE) -> Calibration:
    return calibrate(audited, scale, risk_plan().shrinkage)


# Worked example, by hand: 500 operations, 4 events, 9.0 expected (0.018 each); prior mean 1, strength 5 events.
# lambda = (4 + 5)/(9.0 + 5/1) = 9/14 = 0.643. Raw: 4/9 = 0.444; rate 4/500 = 0.80 percent.


def test_worked_example() -> None:
    result = found(eyes(0.018, 500, 4))
    assert (result.total.operations, result.total.events) == (500, 4)
    assert result.total.expected == pytest.approx(9.0)
    assert result.strength == 5.0
    assert result.shrunk == pytest.approx(0.643, abs=0.0005)
    assert result.total.ratio == pytest.approx(0.444, abs=0.0005)
    assert result.shrunk_limits == pytest.approx(gamma.interval(0.95, 9, scale=1 / 14), rel=1e-9)
    assert result.total.rate_limits == wilson(4, 500)


def test_worked_example_of_expected_events(model: OddsModel) -> None:
    # By hand, o = 0.00755668. Woman of 50, nothing else: p = 0.0075. Woman of 65, brunescent, medium pupil:
    # c = 1.14 x 2.99 x 1.14 = 3.885804, odds 0.0293638, p = 0.0285261. Man of 72 with pseudoexfoliation:
    # c = 1.42 x 1.28 x 2.92 = 5.307392, odds 0.0401063, p = 0.0385598. Sum 0.0745859; mean c 3.397732.
    headings = ("age", "sex", "nucleus", "white", "pupil", "pxf", "phacodonesis", "fundus seen", "glaucoma", "dr")
    headings += ("al", "doxazosin", "can lie flat", "pcr or vl")
    rest = ("yes", "no", "none", "23", "no", "yes", "no")
    rows = (
        Row(2, ("50", "f", "medium", "no", "large", "no", "no", *rest)),
        Row(3, ("65", "f", "brunescent", "no", "medium", "no", "no", *rest)),
        Row(4, ("72", "m", "medium", "no", "large", "yes", "no", *rest)),
    )
    cases = read_cases(Table(headings, rows), model, "cases.csv")
    assert cases.absent == ("operation",)
    result = found(cases.eyes)
    assert result.total.expected == pytest.approx(0.0745859, abs=5e-7)
    assert result.mean_composite == pytest.approx(3.397732, abs=5e-7)
    assert result.expected_at_most == pytest.approx(result.total.expected)
    assert result.unknown == {}


def test_unknown_factors_give_the_upper_bound_and_are_counted(model: OddsModel) -> None:
    # Pupil not known: absent 1.00, at most 1.45 (Narendran 2009): two eyes of p = 0.0075, or of
    # 0.0109572/1.0109572 = 0.0108384.
    rest = ("50", "f", "medium", "no", "no", "no", "yes", "no", "none", "23", "no", "yes", "no")
    headings = ("age", "sex", "nucleus", "white", "pxf", "phacodonesis", "fundus seen", "glaucoma", "dr", "al")
    headings += ("doxazosin", "can lie flat", "pcr or vl")
    result = found(read_cases(Table(headings, (Row(2, rest), Row(3, rest))), model, "x").eyes)
    assert result.total.expected == pytest.approx(0.0150)
    assert result.expected_at_most == pytest.approx(0.0216768, abs=1e-7)
    assert result.unknown == {"pupil": 2}


def test_the_surgeons_grade_is_no_part_of_it(model: OddsModel) -> None:
    table = Table(("age", "pcr or vl", "surgeon grade"), (Row(2, ("50", "no", "senior house officer")),))
    cases = read_cases(table, model, "x")
    assert cases.ignored == ("surgeon grade",)
    assert cases.eyes[0].composite == 1.0
    assert "surgeon grade" not in cases.eyes[0].unknown


# Limits.


@pytest.mark.parametrize("events", [0, 1, 4, 35, 250, 4000])
def test_exact_poisson_limits_agree_with_scipy(events: int) -> None:
    # Garwood 1936 in its usual form: half the chi-squared quantiles with 2 O and 2 O + 2 degrees of freedom.
    low, high = poisson_ratio_limits(events, 9.0)
    assert low == pytest.approx(chi2.ppf(0.025, 2 * events) / 18 if events else 0.0, rel=1e-9)
    assert high == pytest.approx(chi2.ppf(0.975, 2 * events + 2) / 18, rel=1e-9)


@pytest.mark.parametrize("events", [1, 4, 35])
def test_exact_poisson_limits_leave_half_of_5_percent_on_each_side(events: int) -> None:
    low, high = poisson_ratio_limits(events, 1.0)
    assert poisson.sf(events - 1, low) == pytest.approx(0.025)
    assert poisson.cdf(events, high) == pytest.approx(0.025)


@pytest.mark.parametrize(("events", "expected"), [(0, 3.0), (4, 9.0), (35, 51.7)])
def test_exact_poisson_limits_agree_with_statsmodels(events: int, expected: float) -> None:
    from statsmodels.stats.rates import confint_poisson

    reference = confint_poisson(events, expected, method="exact-c")
    assert poisson_ratio_limits(events, expected) == pytest.approx(reference, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(
    ("events", "low", "high"),
    [(0, 0.000, 3.689), (1, 0.025, 5.572), (5, 1.623, 11.668), (10, 4.795, 18.390)],
)
def test_exact_poisson_limits_agree_with_printed_tables(events: int, low: float, high: float) -> None:
    # Pearson and Hartley, Biometrika Tables for Statisticians, table 40: limits of a Poisson mean.
    assert poisson_ratio_limits(events, 1.0) == pytest.approx((low, high), abs=0.0006)


def test_where_nothing_is_expected_there_is_no_ratio() -> None:
    with pytest.raises(ValueError, match="no events were expected"):
        poisson_ratio_limits(1, 0.0)
    with pytest.raises(ValueError, match="no operations"):
        found([])


def test_the_ratio_is_close_to_a_refitted_intercept() -> None:
    """Steyerberg 2004: logistic regression with the model's logit as offset and a free intercept, by statsmodels."""
    import statsmodels.api as sm

    draws = np.random.default_rng(2004)
    c = np.exp(draws.normal(0.6, 0.5, 20_000))
    risk = 0.7 * MODEL_ODDS * c / (1 + 0.7 * MODEL_ODDS * c)
    events = draws.random(c.size) < risk
    offset = np.log(MODEL_ODDS * c)
    fit = sm.GLM(events.astype(float), np.ones((c.size, 1)), family=sm.families.Binomial(), offset=offset).fit()
    result = found([AuditedEye(bool(event), float(x), float(x)) for event, x in zip(events, c, strict=True)])
    assert result.total.ratio == pytest.approx(float(np.exp(fit.params[0])), rel=0.01)


# What the clinic then uses is what was printed.


@pytest.mark.parametrize("surgeons", [1, 6])
def test_the_written_audit_moves_the_intercept_by_the_printed_ratio(
    surgeons: int, clinic: Clinic, model: OddsModel
) -> None:
    plan = risk_plan()
    audited = [eye for n in range(surgeons) for eye in eyes(0.02, 300, 1 + 2 * n, surgeon=f"S{n}")]
    result = found(audited, model_scale(clinic, plan))
    moved = find_intercept(clinic.model_copy(update={"audit": result.as_audit("2025")}), plan, model)
    assert moved.value == pytest.approx(MODEL_ODDS * result.shrunk, rel=1e-4)
    assert (moved.low, moved.high) == pytest.approx([MODEL_ODDS * end for end in result.shrunk_limits], rel=1e-4)
    assert (result.between is not None) is (surgeons == 6)


def test_the_prior_starts_at_the_clinics_population(clinic: Clinic) -> None:
    # 8479 of 617,453 (Haripriya 2017) over 1.92 percent (Narendran 2009): 0.0137322/0.0192 = 0.71522.
    scale = model_scale(clinic, risk_plan())
    assert scale.prior_mean == pytest.approx(0.71522, abs=5e-6)
    assert scale.reference_odds == pytest.approx(0.00755668, abs=5e-9)


# Surgeons.


def test_surgeons_are_counted_apart_and_named_in_order() -> None:
    audited = [*eyes(0.02, 100, 3, "B"), *eyes(0.03, 200, 1, "A"), *eyes(0.02, 50, 2)]
    result = found(audited)
    assert list(result.surgeons) == ["A", "B", ""]
    a, b, nobody = result.surgeons.values()
    assert (a.operations, a.events, a.expected) == (200, 1, pytest.approx(6.0))
    assert (b.operations, b.events, b.ratio) == (100, 3, pytest.approx(1.5))
    assert (nobody.operations, nobody.events) == (50, 2)
    assert sum(t.expected for t in result.surgeons.values()) == pytest.approx(result.total.expected)


def test_worked_example_how_five_surgeons_differ() -> None:
    # By hand: O = 2, 8, 5, 1, 9 with E = 5 each: V = (50 - 25)/125 = 0.2, strength 1/V = 5 events. With O = 2, 10, 5,
    # 0, 8: V = (68 - 25)/125 = 0.344, strength 2.907 events.
    for counts, strength in (((2, 8, 5, 1, 9), 5.0), ((2, 10, 5, 0, 8), 2.907)):
        result = found([eye for n, o in enumerate(counts) for eye in eyes(0.02, 250, o, f"S{n}")])
        assert result.between == pytest.approx(strength, abs=0.0005)


def test_worked_example_a_surgeon_drawn_to_the_centre() -> None:
    # By hand: O = 2, 8, 5, 1, 9 with E = 5 each, so the centre's ratio is 25/25 = 1 and the strength 5 events. The
    # surgeon with 9: (9 + 5)/(5 + 5/1) = 1.4.
    result = found([eye for n, o in enumerate((2, 8, 5, 1, 9)) for eye in eyes(0.02, 250, o, f"S{n}")])
    assert result.surgeon_shrunk(result.surgeons["S4"]) == pytest.approx(1.4)


def test_surgeons_never_move_the_centre() -> None:
    """However alike its surgeons are, a centre is as far from the benchmark as its counts say."""
    one = found(eyes(0.02, 1250, 45))
    five = found([eye for n in range(5) for eye in eyes(0.02, 250, 9, f"S{n}")])
    assert five.between == risk_plan().shrinkage.most_events
    assert (five.strength, five.shrunk) == (one.strength, pytest.approx(one.shrunk))


def test_surgeons_alike_give_the_cap() -> None:
    result = found([eye for n in range(5) for eye in eyes(0.02, 250, 5, f"S{n}")])
    assert result.between == risk_plan().shrinkage.most_events


@pytest.mark.parametrize("named", [4, 0])
def test_fewer_than_five_named_surgeons_are_not_drawn_to_the_centre(named: int) -> None:
    audited = [eye for n in range(named) for eye in eyes(0.02, 250, n, f"S{n}")] + eyes(0.02, 250, 9)
    result = found(audited)
    assert result.between is None
    assert [result.surgeon_shrunk(tally) for tally in result.surgeons.values()] == [None] * len(result.surgeons)


def test_without_any_event_surgeons_say_nothing_about_one_another() -> None:
    result = found([eye for n in range(6) for eye in eyes(0.02, 50, 0, f"S{n}")])
    assert result.between is None


# Groups of rising risk.


def spread(count: int, seed: int = 1) -> list[AuditedEye]:
    draws = np.random.default_rng(seed)
    values = np.exp(draws.normal(0.6, 0.6, count))
    return [AuditedEye(bool(draws.random() < MODEL_ODDS * c), float(c), float(c)) for c in values]


def risks(audited: Sequence[AuditedEye]) -> list[float]:
    return [combine(MODEL_ODDS, [eye.composite]) for eye in audited]


def test_groups_hold_about_equal_expected_events_and_every_eye() -> None:
    audited = spread(3000)
    groups = risk_groups(audited, risks(audited), 5)
    total = sum(risks(audited))
    assert [group.expected / total for group in groups] == pytest.approx([0.2] * 5, abs=0.005)
    assert sum(group.operations for group in groups) == 3000
    assert sum(group.events for group in groups) == sum(eye.event for eye in audited)
    rates = [group.expected_rate for group in groups]
    assert rates == sorted(rates)


@pytest.mark.parametrize(("operations", "most"), [(100, 2), (130, 2), (200, 4), (40, 1)])
def test_each_group_expects_at_least_one_event(operations: int, most: int) -> None:
    # Risk about 0.02: 100 operations expect about 2 events, so at most 2 groups.
    audited = [AuditedEye(False, odds(0.02) / MODEL_ODDS * (1 + n / 1e6), 9.0) for n in range(operations)]
    assert len(risk_groups(audited, risks(audited), 5)) == most


def test_eyes_of_one_risk_are_never_parted() -> None:
    # The order of the file must not decide which of two equal eyes stands in which group.
    audited = [*eyes(0.02, 900, 30), *eyes(0.05, 100, 1)]
    groups = risk_groups(audited, risks(audited), 5)
    assert [(group.operations, group.events) for group in groups] == [(900, 30), (100, 1)]
    assert risk_groups(audited[::-1], risks(audited[::-1]), 5) == groups


# The picture.


def numbers(path: str) -> list[float]:
    return [float(text) for text in re.findall(r"-?\d+(?:\.\d+)?", path)]


def test_the_picture_has_a_point_for_each_group_and_no_text() -> None:
    result = found(spread(3000))
    root = ET.fromstring(calibration_svg(result))  # noqa: S314 - our own drawing
    tags = [element.tag.rpartition("}")[2] for element in root.iter()]
    assert tags.count("circle") == len(result.groups) == 5
    assert not {"text", "title", "desc", "script"} & set(tags)
    assert "".join(root.itertext()).strip() == ""


def test_points_of_the_picture_stand_where_the_table_says() -> None:
    result = found(spread(3000))
    limit = picture_limit(result)
    root = ET.fromstring(calibration_svg(result))  # noqa: S314 - our own drawing
    _, _, width, height = numbers(root.attrib["viewBox"])
    circles = [element for element in root.iter() if element.tag.endswith("circle")]
    for group, circle in zip(result.groups, circles, strict=True):
        across = 20 + 300 * 1000 * group.expected_rate / limit
        up = 320 - 300 * 1000 * group.rate / limit
        assert (float(circle.attrib["cx"]), float(circle.attrib["cy"])) == pytest.approx((across, up), abs=0.06)
        assert 0 <= float(circle.attrib["cx"]) <= width
        assert 0 <= float(circle.attrib["cy"]) <= height


@pytest.mark.parametrize("audited", [spread(150), spread(3000), eyes(0.02, 120, 60), eyes(0.02, 120, 0)])
def test_ticks_are_round_and_at_most_ten(audited: list[AuditedEye]) -> None:
    result = found(audited)
    tick, limit = picture_tick(result), picture_limit(result)
    assert str(tick).rstrip("0") in {"1", "2", "5"}
    assert limit % tick == 0
    assert limit // tick <= 10
    assert all(1000 * group.rate_limits[1] <= limit for group in result.groups)


def test_the_plot_in_text_has_a_line_for_each_group_and_a_scale() -> None:
    result = found([*eyes(0.02, 900, 18), *eyes(0.05, 100, 1)])
    first, second, scale = calibration_lines(result)
    assert "*" in first  # 18 of 900 is 0.02, exactly as expected
    assert second.index("o") < second.index("x")
    assert scale.startswith("0")
    assert scale.endswith("per 1,000")
