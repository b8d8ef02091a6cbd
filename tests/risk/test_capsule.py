"""Capsule rupture: eyes outside the model, two populations, what an unknown does to the figure and its range."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from scipy.stats import binomtest

from consent.case import Case
from consent.clinic import Audit, Clinic
from consent.evidence import Verified
from consent.risk import Estimate, assess_risks, risk_plan

Make = Callable[..., Case]
Rupture = Callable[[Case, Clinic], Estimate]

# Haripriya et al, Ophthalmology 2017;124:768-775: 8479 ruptures in 617 453 operations. Sim et al, Eye 2024, doi
# 10.1038/s41433-024-03344-2: 9730 of 961 208.
SOUTH_ASIA, UK = (8479, 617_453), (9730, 961_208)


def odds(p: float | None) -> float:
    assert p is not None
    return p / (1 - p)


@pytest.fixture
def uk(clinic: Clinic) -> Clinic:
    return clinic.model_copy(update={"population": "uk"})


# Outside the model


def test_posterior_polar_shows_its_own_observed_rate(reference: Make, clinic: Clinic, rupture: Rupture) -> None:
    # Aswin et al, Indian J Ophthalmol 2022;70:2426-2431: 35 of 388 eyes, 9.02 percent. Interval: scipy's Wilson.
    found = rupture(reference(eye__posterior_polar="yes"), clinic)
    interval = binomtest(35, 388).proportion_ci(method="wilson")
    assert found.probability == pytest.approx(35 / 388)
    assert 100 * (found.probability or 0) == pytest.approx(9.02, abs=0.005)
    assert found.interval is not None
    assert (found.interval.low, found.interval.high) == pytest.approx((interval.low, interval.high))
    assert found.interval.kind == "95% interval"
    assert found.drivers == ()
    assert "narendran-2009" not in {source.series for source in found.sources}


@pytest.mark.parametrize(
    "changes",
    [
        {"eye__nucleus__grade": "brunescent"},
        {"eye__pseudoexfoliation": "yes"},
        {"plan__operation": "manual small-incision", "eye__nucleus__grade": "brunescent"},
        {"plan__surgeon__grade": "senior house officer", "patient__age_years": 95},
    ],
)
def test_no_factor_of_the_model_touches_posterior_polar(
    changes: dict[str, object], reference: Make, clinic: Clinic, rupture: Rupture
) -> None:
    # The 9.02 percent is the rate of that group of eyes; posterior polar is not a term of Narendran 2009.
    found = rupture(reference(eye__posterior_polar="yes", **changes), clinic)
    assert found.probability == pytest.approx(35 / 388)


def test_brunescent_small_incision_shows_its_own_observed_rate(
    reference: Make, clinic: Clinic, rupture: Rupture
) -> None:
    # Ravindran et al, TNOA J Ophthalmic Sci Res 2020;58:74-77: 16 of 654 eyes by M-SICS, 2.45 percent.
    case = reference(
        plan__operation="manual small-incision", eye__nucleus__grade="brunescent", eye__pupil_grade="small"
    )
    found = rupture(case, clinic)
    interval = binomtest(16, 654).proportion_ci(method="wilson")
    assert 100 * (found.probability or 0) == pytest.approx(2.45, abs=0.005)
    assert found.interval is not None
    assert (found.interval.low, found.interval.high) == pytest.approx((interval.low, interval.high))
    assert found.drivers == ()


@pytest.mark.parametrize(
    "operation", ["manual small-incision", "extracapsular", "phacoemulsification with trabeculectomy"]
)
@pytest.mark.parametrize("extra", [{}, {"eye__pseudoexfoliation": "yes", "patient__age_years": 92}])
def test_another_operation_shows_the_overall_rate_and_says_so(
    operation: str, extra: dict[str, object], reference: Make, clinic: Clinic, rupture: Rupture
) -> None:
    # Narendran 2009 is a model of phacoemulsification; no factor of it is carried to another operation. What is shown
    # is the whole series of Haripriya 2017, where two thirds were M-SICS.
    found = rupture(reference(plan__operation=operation, **extra), clinic)
    assert found.probability == pytest.approx(SOUTH_ASIA[0] / SOUTH_ASIA[1])
    assert not found.personal
    notes = {note.id for note in found.assumptions}
    assert {"assume.other-operation", "assume.no-figure-for-operation"} <= notes


# Populations


def test_the_intercept_moves_with_the_population(reference: Make, clinic: Clinic, uk: Clinic, rupture: Rupture) -> None:
    # Steyerberg et al 2004, Stat Med 23:2567-2586: the intercept alone is updated, so the odds of every eye move by the
    # ratio of the two overall odds. Counts: Haripriya 2017 and Sim 2024.
    moved = odds(UK[0] / UK[1]) / odds(SOUTH_ASIA[0] / SOUTH_ASIA[1])
    for changes in ({}, {"eye__nucleus__grade": "brunescent", "patient__age_years": 91, "eye__pupil_grade": "small"}):
        here, there = (rupture(reference(**changes), place) for place in (clinic, uk))
        assert odds(there.probability) / odds(here.probability) == pytest.approx(moved)
        assert here.other_population == pytest.approx(there.probability)
        assert there.other_population == pytest.approx(here.probability)


def test_the_usual_eye_is_that_of_the_population(reference: Make, clinic: Clinic, uk: Clinic, rupture: Rupture) -> None:
    # As printed: 1.37 percent (Haripriya 2017) and 1.01 percent (Sim 2024).
    here, there = rupture(reference(), clinic), rupture(reference(), uk)
    assert 100 * (here.usual or 0) == pytest.approx(1.37, abs=0.005)
    assert 100 * (there.usual or 0) == pytest.approx(1.01, abs=0.005)
    assert (here.region, there.region) == ("South Asia", "UK/Europe")


def test_a_reference_eye_in_each_population(reference: Make, clinic: Clinic, uk: Clinic, rupture: Rupture) -> None:
    # By hand: overall odds over 2.59 (the ratio of overall to reference odds of Narendran 2009, 1.92 and 0.75 percent).
    # 0.013923 / 2.5906 = 0.005375, 0.53 percent; 0.010226 / 2.5906 = 0.003947, 0.39 percent.
    assert 100 * (rupture(reference(), clinic).probability or 0) == pytest.approx(0.53, abs=0.005)
    assert 100 * (rupture(reference(), uk).probability or 0) == pytest.approx(0.39, abs=0.005)


# What is not known


def test_unknown_pseudoexfoliation_gives_a_range_that_holds_both_answers(
    reference: Make, clinic: Clinic, rupture: Rupture
) -> None:
    # Narendran 2009: 2.92 if present, so the odds could almost triple: no single figure is shown.
    found = rupture(reference(eye__pseudoexfoliation="unknown"), clinic)
    assert not found.single_figure
    assert found.interval is not None
    for answer in ("yes", "no"):
        known = rupture(reference(eye__pseudoexfoliation=answer), clinic)
        assert known.single_figure
        assert found.interval.low <= (known.probability or 0) <= found.interval.high


@pytest.mark.parametrize(
    ("changes", "single"),
    [
        # The product of what the unknown factors could multiply by, from the table of Narendran 2009.
        ({"eye__pupil_grade": "unknown"}, True),  # 1.45
        ({"eye__pupil_grade": "unknown", "patient__sex": "unknown"}, True),  # 1.45 x 1.28 = 1.86
        ({"eye__pupil_grade": "unknown", "health__alpha_blocker": {"ever": "unknown"}}, False),  # 1.45 x 1.51 = 2.19
        ({"eye__fundus_seen": "unknown"}, False),  # 2.46
        ({"eye__white": "unknown"}, False),  # 2.99
        ({"eye__white": "unknown", "eye__nucleus__grade": "brunescent"}, True),  # present either way
    ],
)
def test_a_single_figure_is_shown_unless_the_odds_could_double(
    changes: dict[str, object], single: bool, reference: Make, clinic: Clinic, rupture: Rupture
) -> None:
    assert rupture(reference(**changes), clinic).single_figure is single


def test_what_rests_on_the_rupture_has_no_single_figure_either(
    reference: Make, clinic: Clinic, estimates: Callable[[Case, Clinic], dict[str, Estimate]]
) -> None:
    # P = p r1 + (1 - p) r0: what is not known of p is not known of P.
    found = estimates(reference(eye__pseudoexfoliation="unknown", health__diabetes="no"), clinic)
    for outcome in ("endophthalmitis", "retinal_detachment", "macular_oedema"):
        assert not found[outcome].single_figure
        assert found[outcome].unknown_factors == ("pseudoexfoliation or phacodonesis",)


# The range


@pytest.mark.parametrize("population", ["south-asia", "uk"])
def test_the_range_holds_the_published_alternatives(
    population: str, reference: Make, clinic: Clinic, rupture: Rupture
) -> None:
    # Brunescent or white: 2.99 (Narendran 2009), 2.41 (Sim 2024). Low end: 2.41 on the lower of both reference odds;
    # high end: 2.99 on the higher; the same range wherever the clinic is.
    place = clinic.model_copy(update={"population": population})
    found = rupture(reference(eye__nucleus__grade="brunescent"), place)
    low = 2.41 * odds(UK[0] / UK[1]) / (odds(0.0192) / odds(0.0075))
    high = 2.99 * odds(SOUTH_ASIA[0] / SOUTH_ASIA[1]) / (odds(0.0192) / odds(0.0075))
    assert found.interval is not None
    assert odds(found.interval.low) == pytest.approx(low)
    assert odds(found.interval.high) == pytest.approx(high)
    assert found.interval.kind == "sensitivity range"


def test_pseudoexfoliation_ranges_from_malaysia_to_the_uk(reference: Make, clinic: Clinic, rupture: Rupture) -> None:
    # Salowi 2017: 1.36; Narendran 2009: 2.92; Sim 2024: 3.47.
    with_it = rupture(reference(eye__pseudoexfoliation="yes"), clinic).interval
    without = rupture(reference(), clinic).interval
    assert with_it is not None
    assert without is not None
    assert odds(with_it.low) / odds(without.low) == pytest.approx(1.36)
    assert odds(with_it.high) / odds(without.high) == pytest.approx(3.47)


def test_a_range_of_sensitivity_is_not_called_a_confidence_interval(
    reference: Make, clinic: Clinic, rupture: Rupture
) -> None:
    # No confidence interval of the model was read, so none is claimed.
    found = rupture(reference(), clinic).interval
    assert found is not None
    assert "95%" not in found.kind


# The audit


def test_a_good_audit_lowers_and_a_bad_one_raises_the_figure(reference: Make, clinic: Clinic, rupture: Rupture) -> None:
    # Dimick et al 2010, Health Serv Res 45:1614-1629: a provider's own result moves the estimate, the more the larger.
    def after(events: int, expected: float) -> float:
        audit = Audit(operations=10_000, events=events, expected_events=expected, years="2025")
        return rupture(reference(), clinic.model_copy(update={"audit": audit})).probability or 0

    before = rupture(reference(), clinic).probability or 0
    assert after(2, 20.0) < before < after(40, 20.0)
    assert after(200, 2000.0) < after(2, 20.0)
    assert after(4000, 2000.0) > after(40, 20.0)


def test_the_raw_audit_stands_beside_the_shrunk_one(reference: Make, audited: Clinic, rupture: Rupture) -> None:
    # Mukamel et al 2010, Am J Public Health 100:264-269: shrinkage can mislead, so the raw counts are shown too.
    chain = rupture(reference(), audited).chain
    assert any("12 of 1000 (2025)" in step.value for step in chain)


# Sources


def test_a_figure_from_memory_is_flagged(reference: Make, clinic: Clinic, audited: Clinic, rupture: Rupture) -> None:
    # The reference probability 0.75 percent was not read in any paper, and scales every modelled figure.
    for place in (clinic, audited):
        found = rupture(reference(), place)
        assert "narendran-2009/reference-probability" in {source.reference for source in found.sources}
        assert found.weakest is Verified.MEMORY


def test_each_source_stands_once(reference: Make, clinic: Clinic) -> None:
    for estimate in assess_risks(reference(eye__nucleus__grade="brunescent", eye__pseudoexfoliation="yes"), clinic):
        references = [source.reference for source in estimate.sources]
        assert len(references) == len(set(references))


def test_the_chain_multiplies_out_to_the_figure(reference: Make, clinic: Clinic, rupture: Rupture) -> None:
    # The lines a reader sees must give the figure: product of the ratios shown, times the reference odds shown.
    found = rupture(reference(eye__nucleus__grade="brunescent", patient__sex="male", patient__age_years=72), clinic)
    product, reference_odds = 1.0, 0.0
    for step in found.chain:
        if step.value.startswith("x "):
            product *= float(step.value.removeprefix("x "))
        if step.text.startswith("reference odds"):
            reference_odds = float(step.value)
    assert product == pytest.approx(2.99 * 1.28 * 1.42)
    assert odds(found.probability) == pytest.approx(reference_odds * product, rel=1e-3)
    assert any(step.value == f"{100 * (found.probability or 0):.2f} %" for step in found.chain)


def test_the_plan_names_two_populations() -> None:
    # The figures of both are the abstracts' counts.
    plan = risk_plan()
    assert (plan.population("south-asia").figure.events, plan.population("south-asia").figure.eyes) == SOUTH_ASIA
    assert (plan.population("uk").figure.events, plan.population("uk").figure.eyes) == UK
