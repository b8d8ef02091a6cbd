"""What must hold for every odds ratio, eye, audit and population, however it was chosen.

The properties are those of a logistic model (odds multiply; logit(p) = logit(p0) + sum of ln OR) and of probabilities.
"""

from __future__ import annotations

import math
import random
from pathlib import Path
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

import consent
from consent.case import Answer, Case, Operation, read_case
from consent.case.answers import Glaucoma, NucleusGrade, PupilGrade, Retinopathy, Sex, SurgeonGrade
from consent.clinic import Audit, Clinic, read_clinic
from consent.evidence import wilson
from consent.risk import Estimate, assess_risks
from consent.risk.mixture import Arm, mix, mix_interval
from consent.risk.odds import combine, composite, odds, probability
from consent.risk.recalibration import gamma_quantile, shrink, shrink_interval

QUICK = settings(max_examples=100, deadline=None)
ORDINARY = read_case(Path(consent.__file__).parent / "case" / "examples" / "ordinary.toml")
CLINIC = read_clinic()

probabilities = st.floats(0.0, 0.999999)
ratios = st.floats(0.05, 20.0)
reference_odds = st.floats(1e-6, 1.0)


# Arithmetic


@given(probabilities)
def test_odds_and_probability_are_each_others_inverse(p: float) -> None:
    assert probability(odds(p)) == pytest.approx(p, rel=1e-9, abs=1e-15)


@given(st.floats(0.0, 1e9))
def test_probability_and_odds_are_each_others_inverse(value: float) -> None:
    assume(probability(value) < 1)
    assert odds(probability(value)) == pytest.approx(value, rel=1e-6, abs=1e-12)


@given(st.floats(0.0, 1e9))
def test_a_probability_lies_between_0_and_1(value: float) -> None:
    assert 0 <= probability(value) <= 1


@pytest.mark.parametrize("p", [-0.01, 1.0, 1.01])
def test_what_has_no_odds_is_refused(p: float) -> None:
    with pytest.raises(ValueError, match="not a probability below 1"):
        odds(p)


def test_negative_odds_are_refused() -> None:
    with pytest.raises(ValueError, match="negative"):
        probability(-0.1)


@given(reference_odds, st.lists(ratios, min_size=1, max_size=12), st.data())
def test_a_larger_ratio_never_lowers_the_probability(start: float, chosen: list[float], data: st.DataObject) -> None:
    index = data.draw(st.integers(0, len(chosen) - 1))
    raised = [*chosen]
    raised[index] *= data.draw(st.floats(1.0, 5.0))
    assert combine(start, raised) >= combine(start, chosen) * (1 - 1e-12)


@given(reference_odds, st.lists(ratios, max_size=12), st.floats(1.0, 5.0))
def test_a_larger_reference_never_lowers_the_probability(start: float, chosen: list[float], more: float) -> None:
    assert combine(start * more, chosen) >= combine(start, chosen) * (1 - 1e-12)


@given(reference_odds, st.lists(ratios, max_size=12), st.integers())
def test_the_order_of_the_ratios_does_not_matter(start: float, chosen: list[float], seed: int) -> None:
    shuffled = random.Random(seed).sample(chosen, len(chosen))
    assert composite(shuffled) == pytest.approx(composite(chosen), rel=1e-12)
    assert combine(start, shuffled) == pytest.approx(combine(start, chosen), rel=1e-12)


@given(reference_odds, st.lists(ratios, max_size=12))
def test_it_is_a_logistic_model(start: float, chosen: list[float]) -> None:
    # The slow independent way: add logarithms, then the logistic function.
    logit = math.log(start) + math.fsum(math.log(ratio) for ratio in chosen)
    expected = 1 / (1 + math.exp(-logit)) if logit > -500 else 0.0
    assert combine(start, chosen) == pytest.approx(expected, rel=1e-9)


@given(st.integers(1, 5000), st.data())
def test_wilson_holds_the_proportion_and_mirrors(eyes: int, data: st.DataObject) -> None:
    # Events and non-events are the same question asked the other way round.
    events = data.draw(st.integers(0, eyes))
    low, high = wilson(events, eyes)
    assert 0 <= low <= events / eyes + 1e-15
    assert events / eyes - 1e-15 <= high <= 1
    other_low, other_high = wilson(eyes - events, eyes)
    assert (1 - other_high, 1 - other_low) == pytest.approx((low, high), abs=1e-9)


@given(st.floats(5.0, 3000.0), st.floats(0.001, 0.998), st.floats(0.0001, 0.001))
@QUICK
def test_quantiles_rise_with_the_level(shape: float, level: float, more: float) -> None:
    assert 0 < gamma_quantile(level, shape) < gamma_quantile(level + more, shape)


@given(st.integers(0, 500), st.floats(0.1, 500.0), st.floats(0.2, 3.0), st.floats(1.0, 50.0))
@QUICK
def test_shrinkage_lies_between_prior_and_observed(events: int, expected: float, prior: float, strength: float) -> None:
    found, observed = shrink(events, expected, prior, strength), events / expected
    assert min(prior, observed) * (1 - 1e-9) <= found <= max(prior, observed) * (1 + 1e-9)
    low, high = shrink_interval(events, expected, prior, strength)
    assert low < found < high


# Mixtures


@st.composite
def arms(draw: st.DrawFn) -> Arm:
    eyes = draw(st.integers(20, 1_000_000))
    events = draw(st.integers(0, eyes))
    return Arm(events / eyes, *wilson(events, eyes))


@given(st.lists(st.floats(0.0, 1.0), min_size=3, max_size=3).map(sorted), arms(), arms())
def test_a_mixture_lies_between_its_arms_and_in_its_interval(p: list[float], one: Arm, other: Arm) -> None:
    # More rupture, more of what follows from it: the ruptured arm is the higher one in every source used.
    intact, ruptured = sorted((one, other), key=lambda arm: arm.value)
    value = mix(p[1], ruptured.value, intact.value)
    low, high = mix_interval((p[1], p[0], p[2]), ruptured, intact)
    assert intact.value - 1e-12 <= value <= ruptured.value + 1e-12
    assert 0 <= low <= value + 1e-12
    assert value - 1e-12 <= high <= 1


# Whole eyes

answers = st.sampled_from(Answer)


@st.composite
def cases(draw: st.DrawFn) -> Case:
    """An eye with every factor of the model, and every fact that chooses a group, drawn at random."""
    eye = ORDINARY.eye.model_copy(
        update={
            "nucleus": ORDINARY.eye.nucleus.model_copy(update={"grade": draw(st.sampled_from(NucleusGrade))}),
            "white": draw(answers),
            "posterior_polar": draw(st.sampled_from((Answer.NO, Answer.NO, Answer.NO, Answer.YES, Answer.UNKNOWN))),
            "pseudoexfoliation": draw(answers),
            "phacodonesis": draw(answers),
            "fundus_seen": draw(answers),
            "glaucoma": draw(st.sampled_from(Glaucoma)),
            "retinopathy": draw(st.sampled_from(Retinopathy)),
            "pupil_grade": draw(st.sampled_from(PupilGrade)),
            "axial_length_mm": draw(st.none() | st.floats(18.0, 38.0)),
            "guttata": draw(answers),
            "amblyopia": draw(answers),
        }
    )
    drugs = draw(st.lists(st.sampled_from(("tamsulosin", "doxazosin")), unique=True).map(tuple))
    blocker = ORDINARY.health.alpha_blocker.model_copy(
        update={"ever": draw(answers), "drugs": drugs, "taking_now": draw(answers)}
    )
    health = ORDINARY.health.model_copy(
        update={"alpha_blocker": blocker, "can_lie_flat": draw(answers), "diabetes": draw(answers)}
    )
    surgeon = ORDINARY.plan.surgeon.model_copy(update={"grade": draw(st.none() | st.sampled_from(SurgeonGrade))})
    plan = ORDINARY.plan.model_copy(
        update={
            "surgeon": surgeon,
            "operation": draw(st.sampled_from((Operation.PHACO, Operation.PHACO, *Operation))),
            "injected_antibiotic": draw(answers),
        }
    )
    patient = ORDINARY.patient.model_copy(
        update={"birth_date": None, "age_years": draw(st.integers(18, 120)), "sex": draw(st.sampled_from(Sex))}
    )
    return ORDINARY.model_copy(update={"eye": eye, "health": health, "plan": plan, "patient": patient})


@st.composite
def clinics(draw: st.DrawFn) -> Clinic:
    """Either population, with or without an audit."""
    audit = None
    if draw(st.booleans()):
        operations = draw(st.integers(50, 20_000))
        events = draw(st.integers(0, operations // 10))
        expected = draw(st.floats(0.5, operations / 20))
        audit = Audit(operations=operations, events=events, expected_events=expected, years="2025")
    return CLINIC.model_copy(update={"population": draw(st.sampled_from(("south-asia", "uk"))), "audit": audit})


def in_order(low: float, value: float, high: float) -> bool:
    return 0 <= low <= value * (1 + 1e-12) and value <= high * (1 + 1e-12) and high <= 1


@given(cases(), clinics())
@QUICK
def test_every_probability_lies_in_its_range(case: Case, clinic: Clinic) -> None:
    for found in assess_risks(case, clinic):
        if not found.known:
            assert found.probability is None
            continue
        assert found.probability is not None or found.interval is not None
        for value, interval in ((found.probability, found.interval), (found.usual, found.usual_interval)):
            if value is not None:
                assert 0 <= value <= 1
            if interval is not None:
                assert in_order(interval.low, value if value is not None else interval.low, interval.high)


@given(cases(), clinics())
@QUICK
def test_every_known_figure_has_a_source_a_horizon_and_a_chain(case: Case, clinic: Clinic) -> None:
    for found in assess_risks(case, clinic):
        assert found.horizon
        assert found.chain
        if found.known:
            assert found.sources
            assert found.weakest is not None
            assert found.population
            assert found.years


@given(cases(), clinics())
@QUICK
def test_the_same_eye_gives_the_same_figures(case: Case, clinic: Clinic) -> None:
    assert assess_risks(case, clinic) == assess_risks(case, clinic)


def with_part(case: Case, part: str, **changes: Any) -> Case:
    return case.model_copy(update={part: getattr(case, part).model_copy(update=changes)})


def worse(case: Case, factor: str) -> Case:
    """The same eye with one risk factor of Narendran 2009 (Eye 2009;23:31-37) made present or one level worse."""
    match factor:
        case "age":
            return with_part(case, "patient", age_years=min(120, (case.patient.age_years or 18) + 10))
        case "sex":
            return with_part(case, "patient", sex=Sex.MALE)
        case "glaucoma":
            return with_part(case, "eye", glaucoma=Glaucoma.OPEN_ANGLE)
        case "retinopathy":
            return with_part(case, "eye", retinopathy=Retinopathy.SEVERE)
        case "brunescent":
            return with_part(
                case, "eye", nucleus=case.eye.nucleus.model_copy(update={"grade": NucleusGrade.BRUNESCENT})
            )
        case "white" | "pseudoexfoliation" | "phacodonesis":
            return with_part(case, "eye", **{factor: Answer.YES})
        case "no view":
            return with_part(case, "eye", fundus_seen=Answer.NO)
        case "pupil":
            return with_part(case, "eye", pupil_grade=PupilGrade.SMALL)
        case "length":
            return with_part(case, "eye", axial_length_mm=27.0)
        case "doxazosin":
            blocker = case.health.alpha_blocker.model_copy(
                update={"ever": Answer.YES, "drugs": ("doxazosin",), "taking_now": Answer.YES}
            )
            return with_part(case, "health", alpha_blocker=blocker)
        case "flat":
            return with_part(case, "health", can_lie_flat=Answer.NO)
        case "grade":
            surgeon = case.plan.surgeon.model_copy(update={"grade": SurgeonGrade.SENIOR_HOUSE_OFFICER})
            return with_part(case, "plan", surgeon=surgeon)
    raise AssertionError(factor)


FACTORS = (
    *("age", "sex", "glaucoma", "retinopathy", "brunescent", "white", "pseudoexfoliation", "phacodonesis"),
    *("no view", "pupil", "length", "doxazosin", "flat", "grade"),
)


def by_outcome(case: Case, clinic: Clinic) -> dict[str, Estimate]:
    return {found.outcome: found for found in assess_risks(case, clinic)}


@given(cases(), clinics(), st.lists(st.sampled_from(FACTORS), min_size=1, max_size=4))
@QUICK
def test_more_risk_factors_never_lower_a_figure(case: Case, clinic: Clinic, factors: list[str]) -> None:
    # For eyes of the model: outside it another figure takes the place of the model's, which may be lower. What follows
    # from a rupture rises with it.
    case = with_part(case, "plan", operation=Operation.PHACO)
    case = with_part(case, "eye", posterior_polar=Answer.NO)
    raised = case
    for factor in factors:
        raised = worse(raised, factor)
    before, after = by_outcome(case, clinic), by_outcome(raised, clinic)
    for outcome in ("capsule_rupture", "endophthalmitis", "retinal_detachment", "macular_oedema"):
        one, other = before[outcome].probability, after[outcome].probability
        assert one is not None
        assert other is not None
        assert other >= one * (1 - 1e-12)


@given(clinics().filter(lambda clinic: clinic.audit is None), st.sampled_from(FACTORS))
@QUICK
def test_each_risk_factor_by_itself_raises_the_figure(clinic: Clinic, factor: str) -> None:
    # Guards the test above: every change it makes is one the model sees.
    before, after = (by_outcome(eye, clinic)["capsule_rupture"] for eye in (YOUNG, worse(YOUNG, factor)))
    assert (after.probability or 0) > (before.probability or 1)


YOUNG = with_part(ORDINARY, "patient", birth_date=None, age_years=55)


@given(cases(), clinics())
@QUICK
def test_knowing_more_stays_within_the_range_of_knowing_less(case: Case, clinic: Clinic) -> None:
    # An unknown pseudoexfoliation is one of the two answers: the range holds both.
    case = with_part(case, "plan", operation=Operation.PHACO)
    case = with_part(case, "eye", posterior_polar=Answer.NO, pseudoexfoliation=Answer.UNKNOWN)
    interval = by_outcome(case, clinic)["capsule_rupture"].interval
    assert interval is not None
    for answer in (Answer.YES, Answer.NO):
        known = by_outcome(with_part(case, "eye", pseudoexfoliation=answer), clinic)["capsule_rupture"].probability
        assert known is not None
        assert in_order(interval.low, known, interval.high)
