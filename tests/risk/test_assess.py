"""Every outcome of the plan: the right published group for the facts of the eye, and mixtures over capsule rupture."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
from scipy.stats import binomtest

import consent
from consent.case import Case
from consent.clinic import Clinic
from consent.errors import EvidenceError
from consent.evidence import Verified, library
from consent.risk import Estimate, assess_risks, risk_plan
from consent.risk.plan import RiskPlan

Make = Callable[..., Case]
Estimates = Callable[[Case, Clinic], dict[str, Estimate]]

WRITTEN = tomllib.loads((Path(consent.__file__).parent / "risk" / "outcomes.toml").read_text(encoding="utf-8"))


def percent(value: float | None) -> float:
    assert value is not None
    return 100 * value


def test_every_outcome_of_the_plan_is_assessed_in_its_order(reference: Make, clinic: Clinic) -> None:
    # Source of the order: outcomes.toml as written, read by the standard library.
    assert [estimate.outcome for estimate in assess_risks(reference(), clinic)] == [
        outcome["id"] for outcome in WRITTEN["outcomes"]
    ]


# What each group of eyes is shown. Every value is the one printed in the abstract named beside it, in percent, with its
# last printed digit.
BY_FACT = [
    # Chu et al, Ophthalmology 2016;123:316-323: 4.04 percent with diabetes.
    ("macular_oedema", {"health__diabetes": "yes"}, 4.04, 0.01),
    # Viberg et al, Acta Ophthalmol 2019, doi 10.1111/j.1755-3768.2019.5190: 4.8 against 0.08 percent within 6 years.
    ("corneal_failure", {"eye__guttata": "yes"}, 4.8, 0.1),
    ("corneal_failure", {"eye__guttata": "no"}, 0.08, 0.01),
    # El-Hindy et al, Eye 2009;23:50-55: 0.066 percent of needle and sub-Tenon blocks.
    ("anaesthetic_harm", {"plan__anaesthesia": "peribulbar"}, 0.066, 0.001),
    ("anaesthetic_harm", {"plan__anaesthesia": "retrobulbar"}, 0.066, 0.001),
    ("anaesthetic_harm", {"plan__anaesthesia": "sub-Tenon"}, 0.066, 0.001),
    # J Glaucoma 2021;30:e159-e163: 8.4 percent with glaucoma, 2.1 without.
    ("steroid_pressure_rise", {"eye__glaucoma": "open angle"}, 8.4, 0.1),
    ("steroid_pressure_rise", {"eye__glaucoma": "none"}, 2.1, 0.1),
    # A responder's own history is no glaucoma: the figure stays that of eyes without.
    ("steroid_pressure_rise", {"eye__steroid_response_self": "yes"}, 2.1, 0.1),
    # Day et al, Eye 2015;29:552-560: 6/12 or better in 94.6 percent without, 79.9 with another disease of the eye.
    ("good_vision", {}, 94.6, 0.1),
    ("good_vision", {"eye__amblyopia": "yes"}, 79.9, 0.1),
    ("good_vision", {"eye__glaucoma": "other"}, 79.9, 0.1),
    ("good_vision", {"eye__retinopathy": "severe"}, 79.9, 0.1),
    ("good_vision", {"eye__other_macular_disease": "yes"}, 79.9, 0.1),
    # Stewart et al, Eye 2023, doi 10.1038/s41433-023-02514-y: 0.03 percent, 204 of 709 083.
    ("suprachoroidal_haemorrhage", {}, 0.03, 0.01),
    # Suazo et al, Am J Ophthalmol 2025, doi 10.1016/j.ajo.2025.03.014: 0.54 percent.
    ("return_to_theatre", {}, 0.54, 0.01),
    # Ophthalmic Epidemiol 2021:271-278, doi 10.1080/09286586.2021.1923756: 0.044 percent, 184 of 415 487.
    ("dropped_nucleus", {}, 0.044, 0.001),
]


@pytest.mark.parametrize(("outcome", "changes", "printed", "digit"), BY_FACT)
def test_the_group_of_the_eye_is_shown(
    outcome: str,
    changes: dict[str, object],
    printed: float,
    digit: float,
    case: Make,
    clinic: Clinic,
    estimates: Estimates,
) -> None:
    found = estimates(case("ordinary", **changes), clinic)[outcome]
    assert percent(found.probability) == pytest.approx(printed, abs=digit / 2)


def test_the_dropped_nucleus_follows_the_population(case: Make, clinic: Clinic, estimates: Estimates) -> None:
    # Lundström et al, J Cataract Refract Surg 2020;46:287-292: 1221 of 1 715 348 in Europe; 184 of 415 487 in Madurai.
    uk = clinic.model_copy(update={"population": "uk"})
    assert estimates(case(), uk)["dropped_nucleus"].probability == pytest.approx(1221 / 1_715_348)
    assert estimates(case(), clinic)["dropped_nucleus"].probability == pytest.approx(184 / 415_487)


@pytest.mark.parametrize("anaesthesia", ["topical", "topical and intracameral", "general"])
def test_no_block_no_figure_of_blocks(anaesthesia: str, case: Make, clinic: Clinic, estimates: Estimates) -> None:
    # El-Hindy 2009 counted blocks only; nothing is borrowed for an eye without one.
    found = estimates(case("ordinary", plan__anaesthesia=anaesthesia), clinic)["anaesthetic_harm"]
    assert (found.known, found.probability, found.interval) == (False, None, None)


def test_where_another_anaesthesia_may_follow_a_block_is_not_ruled_out(
    case: Make, clinic: Clinic, estimates: Estimates
) -> None:
    # "Does not apply" would be untrue on a form that asks leave for another anaesthesia.
    changes = {"plan__anaesthesia": "topical", "plan__extra_steps": ["other anaesthesia"]}
    assert estimates(case("ordinary", **changes), clinic)["anaesthetic_harm"].applies


@pytest.mark.parametrize(
    ("outcome", "ratios"),
    [
        # Sparrow et al, Eye 2012;26:821-826 (visual angle doubled); Ionides et al, Br J Ophthalmol 2001;85:222-224
        # (worse than 6/12 at discharge). Neither is "worse than before within 60 days".
        ("vision_worse", ("5.74", "3.8")),
        # Viberg et al, J Cataract Refract Surg 2021;47:358-365: per year of follow-up, with and without guttata.
        ("corneal_failure", ("3.46", "3.83", "9.69")),
    ],
)
def test_ratios_of_another_definition_are_shown_and_not_mixed_in(
    outcome: str, ratios: tuple[str, ...], case: Make, clinic: Clinic, estimates: Estimates
) -> None:
    found = estimates(case(), clinic)[outcome]
    aside = [step for step in found.chain if step.text.startswith("not mixed in")]
    assert [step.value.split()[0] for step in aside] == list(ratios)
    assert all(step.source and "(" in step.value for step in aside)
    assert found.probability == estimates(case("ordinary"), clinic)[outcome].probability
    assert "assume.not-mixed" in {entry.id for entry in found.assumptions}


def test_what_was_not_found_is_not_known(case: Make, clinic: Clinic, estimates: Estimates) -> None:
    # No figure with a denominator for losing the eye: said, not guessed.
    found = estimates(case(), clinic)["loss_of_eye"]
    assert (found.known, found.probability, found.usual, found.sources) == (False, None, None, ())
    assert found.weakest is None


def test_a_spread_over_lens_models_is_shown_as_a_spread(case: Make, clinic: Clinic, estimates: Estimates) -> None:
    # Ursell et al, Eye 2020;34:960-968: 2.4 to 12.6 percent at 3 years, by lens model; no single rate.
    found = estimates(case(), clinic)["capsule_clouding_laser"]
    assert found.probability is None
    assert not found.single_figure
    assert found.interval is not None
    assert (percent(found.interval.low), percent(found.interval.high)) == pytest.approx((2.4, 12.6))
    assert found.interval.kind == "spread over lens models"


@pytest.mark.parametrize(
    ("outcome", "changes", "shown"),
    [
        # Where the fact is not known the plan says which group is shown, and the estimate says so.
        ("endophthalmitis", {"plan__injected_antibiotic": "unknown"}, "no"),
        ("corneal_failure", {"eye__guttata": "unknown"}, "no"),
        ("macular_oedema", {"health__diabetes": "unknown", "eye__retinopathy": "none"}, "no"),
        ("steroid_pressure_rise", {"eye__glaucoma": "unknown"}, "no"),
        ("anaesthetic_harm", {"plan__anaesthesia": None}, "yes"),
        ("good_vision", {"eye__epiretinal_membrane": "unknown"}, "yes"),
    ],
)
def test_an_unknown_fact_is_shown_as_the_plan_says_and_noted(
    outcome: str, changes: dict[str, object], shown: str, case: Make, clinic: Clinic, estimates: Estimates
) -> None:
    written = next(entry for entry in WRITTEN["outcomes"] if entry["id"] == outcome)
    assert written.get("unknown", "no") == shown
    found = estimates(case("ordinary", **changes), clinic)[outcome]
    group = written["groups"][shown]
    assert group.get("this", group.get("intact", group["usual"])) in {source.reference for source in found.sources}
    assert "assume.fact-unknown" in {note.id for note in found.assumptions}
    known = estimates(case("ordinary"), clinic)[outcome]
    assert "assume.fact-unknown" not in {note.id for note in known.assumptions}


def test_an_unnamed_antibiotic_is_not_taken_for_moxifloxacin(case: Make, clinic: Clinic, estimates: Estimates) -> None:
    # Haripriya 2017 injected moxifloxacin; nothing is known there of another drug.
    named = estimates(case("ordinary", plan__injected_antibiotic_drug="Moxifloxacin 0.5%"), clinic)["endophthalmitis"]
    unnamed = estimates(case("ordinary", plan__injected_antibiotic_drug=None), clinic)["endophthalmitis"]
    other = estimates(case("ordinary", plan__injected_antibiotic_drug="cefuroxime"), clinic)["endophthalmitis"]
    assert percent(named.usual) == pytest.approx(100 * 64 / 314_638)
    for found in (unnamed, other):
        assert percent(found.usual) == pytest.approx(100 * 214 / 302_815)
        assert "assume.fact-unknown" in {note.id for note in found.assumptions}


# Mixtures over capsule rupture. The law of total probability: P = p r1 + (1 - p) r0, p this eye's rupture.


@pytest.mark.parametrize(
    ("outcome", "changes", "ruptured", "intact"),
    [
        # Haripriya 2017: 9 of 4293 and 55 of 310 345 with, 20 of 4186 and 194 of 298 629 without moxifloxacin.
        ("endophthalmitis", {}, 9 / 4293, 55 / 310_345),
        ("endophthalmitis", {"plan__injected_antibiotic": "no"}, 20 / 4186, 194 / 298_629),
        # Day 2016: 36 of 1101 and 95 of 60 806.
        ("retinal_detachment", {}, 36 / 1101, 95 / 60_806),
        # Chu 2016: 1.17 percent, risk ratio 2.61.
        ("macular_oedema", {}, 0.0117 * 2.61, 0.0117),
    ],
)
@pytest.mark.parametrize("eye", [{}, {"eye__nucleus__grade": "brunescent", "eye__pupil_grade": "small"}])
def test_a_mixture_is_the_law_of_total_probability(
    outcome: str,
    changes: dict[str, object],
    ruptured: float,
    intact: float,
    eye: dict[str, object],
    case: Make,
    clinic: Clinic,
    estimates: Estimates,
) -> None:
    found = estimates(case("ordinary", **eye, **changes), clinic)
    p = found["capsule_rupture"].probability
    assert p is not None
    assert found[outcome].probability == pytest.approx(p * ruptured + (1 - p) * intact)


def test_the_usual_eye_of_a_mixture_is_the_whole_series(case: Make, clinic: Clinic, estimates: Estimates) -> None:
    # Day 2016: 131 of 61 907; the interval as entered agrees with scipy's Wilson to its last digit.
    found = estimates(case(), clinic)["retinal_detachment"]
    interval = binomtest(131, 61_907).proportion_ci(method="wilson")
    assert found.usual == pytest.approx(131 / 61_907)
    assert found.usual_interval is not None
    assert found.usual_interval.low == pytest.approx(interval.low, abs=1e-5)
    assert found.usual_interval.high == pytest.approx(interval.high, abs=1e-5)


def test_a_ratio_without_interval_of_its_base_says_so(case: Make, clinic: Clinic, estimates: Estimates) -> None:
    # Chu 2016 prints 1.17 percent without an interval, and RR 2.61 (1.57-4.34): only the ratio's is carried.
    kinds = {name: found.interval.kind for name, found in estimates(case(), clinic).items() if found.interval}
    assert kinds["macular_oedema"] == "ratio interval only"
    assert kinds["retinal_detachment"] == kinds["endophthalmitis"] == "arms over rupture"


def test_the_range_of_a_mixture_carries_what_is_not_known_of_the_rupture(
    reference: Make, clinic: Clinic, estimates: Estimates
) -> None:
    # Day 2016, at both ends of the range of p: 36 of 1101 ruptured, 95 of 60 806 intact. The range of the mixture holds
    # both, and the figure of either answer to what was not known.
    unknown = estimates(reference(eye__pseudoexfoliation="unknown"), clinic)
    p, found = unknown["capsule_rupture"].interval, unknown["retinal_detachment"].interval
    assert p is not None
    assert found is not None
    assert found.low < p.low * 36 / 1101 + (1 - p.low) * 95 / 60_806
    assert found.high > p.high * 36 / 1101 + (1 - p.high) * 95 / 60_806
    for answer in ("yes", "no"):
        known = estimates(reference(eye__pseudoexfoliation=answer), clinic)["retinal_detachment"].probability
        assert known is not None
        assert found.low < known < found.high


def test_diabetes_has_its_own_rate_and_no_mixture(case: Make, clinic: Clinic, estimates: Estimates) -> None:
    # Chu 2016: the 4.04 percent of diabetics was not split by rupture, so this eye's rupture does not enter it.
    for eye in ({}, {"eye__nucleus__grade": "brunescent"}):
        found = estimates(case("ordinary", health__diabetes="yes", **eye), clinic)["macular_oedema"]
        assert percent(found.probability) == pytest.approx(4.04, abs=0.005)
        assert percent(found.usual) == pytest.approx(1.17, abs=0.005)
        assert "assume.own-rate" in {note.id for note in found.assumptions}


def test_a_posterior_polar_eye_carries_its_rate_into_the_mixtures(
    reference: Make, clinic: Clinic, estimates: Estimates
) -> None:
    # Aswin 2022: 35 of 388; Day 2016: 36 of 1101 and 95 of 60 806.
    found = estimates(reference(eye__posterior_polar="yes"), clinic)["retinal_detachment"]
    p = 35 / 388
    assert found.probability == pytest.approx(p * 36 / 1101 + (1 - p) * 95 / 60_806)
    assert "narendran-2009" not in {source.series for source in found.sources}


def test_only_good_sight_is_a_benefit(case: Make, clinic: Clinic) -> None:
    assert [found.outcome for found in assess_risks(case(), clinic) if found.benefit] == ["good_vision"]


# The plan and what it rests on


def references(written: dict[str, object]) -> set[str]:
    """Every ``series/figure`` in outcomes.toml as written."""
    found: set[str] = set()
    pending: list[object] = [written]
    while pending:
        value = pending.pop()
        if isinstance(value, dict):
            pending.extend(value.values())
        elif isinstance(value, list):
            pending.extend(value)
        elif isinstance(value, str) and value.count("/") == 1 and " " not in value:
            found.add(value)
    return found


def test_every_figure_the_plan_names_is_in_the_library() -> None:
    named = references(WRITTEN)
    assert len(named) > 25
    beside = {reference for outcome in risk_plan().outcomes for reference in outcome.beside}
    assert set(risk_plan().references()) | beside == named
    assert not set(risk_plan().references()) & beside
    for reference in named:
        assert library().cited(reference).reference == reference


def test_every_figure_from_memory_is_flagged_in_what_rests_on_it(
    case: Make, clinic: Clinic, audited: Clinic, estimates: Estimates
) -> None:
    # A figure nobody read must show: walk every estimate of very different eyes and every source it names.
    eyes = [
        case("ordinary"),
        case("hard"),
        case("hard", health__diabetes="no", plan__injected_antibiotic="no"),
        case("ordinary", eye__posterior_polar="yes"),
        case("ordinary", plan__operation="manual small-incision"),
        case("ordinary", eye__guttata="yes", eye__glaucoma="open angle", health__diabetes="yes"),
    ]
    flagged = set()
    for eye in eyes:
        for place in (clinic, audited, clinic.model_copy(update={"population": "uk"})):
            for found in assess_risks(eye, place):
                checks = {
                    library().one(source.series).model.verified  # type: ignore[union-attr]
                    if source.reference.endswith("/model")
                    else library().cited(source.reference).figure.verified
                    for source in found.sources
                }
                assert (found.weakest is Verified.MEMORY) == (Verified.MEMORY in checks)
                if found.weakest is Verified.MEMORY:
                    flagged.add(found.outcome)
    # The reference probability of Narendran 2009 is from memory and scales the model: all that rests on it is flagged.
    assert flagged == {"capsule_rupture", "aphakia", "endophthalmitis", "retinal_detachment", "macular_oedema"}


def test_every_figure_of_the_plan_from_memory_reaches_an_estimate_that_says_so(case: Make, clinic: Clinic) -> None:
    series = library().one(WRITTEN["composite"]["model"])
    assert series.model is not None
    named = references(WRITTEN) | {
        f"{series.id}/{name}" for name in (series.model.reference_probability, series.model.overall_probability)
    }
    memory = {name for name in named if library().cited(name).figure.verified is Verified.MEMORY}
    assert memory  # today: the reference probability of Narendran 2009
    shown = {
        source.reference
        for found in assess_risks(case("hard"), clinic)
        if found.weakest is Verified.MEMORY
        for source in found.sources
    }
    assert memory <= shown


def test_a_plan_that_names_a_missing_figure_is_refused() -> None:
    broken = {**WRITTEN, "outside_model": {**WRITTEN["outside_model"], "posterior_polar": "aswin-2022/absent"}}
    with pytest.raises(EvidenceError, match="aswin-2022/absent"):
        RiskPlan.model_validate(broken, strict=False)


def test_a_plan_with_an_outcome_twice_is_refused() -> None:
    broken = {**WRITTEN, "outcomes": [*WRITTEN["outcomes"], WRITTEN["outcomes"][0]]}
    with pytest.raises(ValueError, match="an outcome stands twice"):
        RiskPlan.model_validate(broken, strict=False)


def test_a_number_that_is_a_choice_says_that_it_is_one() -> None:
    # Neither the strength of the shrinkage nor the limit of doubling was published; each says so beside it.
    plan = risk_plan()
    assert "no source" in plan.composite.doubling_source
    assert "not a published value" in plan.shrinkage.source
    # 5 events: coefficient of variation of a gamma prior is 1/sqrt(5) = 44.7 percent, "45 percent" as written.
    assert f"{100 / plan.shrinkage.events**0.5:.0f} percent" in plan.shrinkage.source
