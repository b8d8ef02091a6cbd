"""Traps in turning an eye into the factors of Narendran 2009 (Eye 2009;23:31-37): what earns a ratio and what does not.

Each ratio below is the one of the paper's table as quoted; the odds of two eyes that differ in one fact differ by it.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from consent.case import Case
from consent.clinic import Clinic
from consent.evidence import OddsModel
from consent.risk import Estimate
from consent.risk.factors import FactorLevel, factor_levels

Make = Callable[..., Case]
Rupture = Callable[[Case, Clinic], Estimate]


@pytest.fixture
def ratio(reference: Make, rupture: Rupture, clinic: Clinic) -> Callable[..., float]:
    """The odds of a changed reference eye over the odds of the reference eye."""

    def odds(case: Case) -> float:
        p = rupture(case, clinic).probability
        assert p is not None
        return p / (1 - p)

    return lambda **changes: odds(reference(**changes)) / odds(reference())


def earned(ratio: float, printed: float) -> None:
    assert ratio == pytest.approx(printed, rel=1e-9)


EXAMPLES = [
    ({"eye__nucleus__grade": "brunescent"}, 2.99),
    ({"eye__white": "yes"}, 2.99),
    ({"eye__nucleus__grade": "brunescent", "eye__white": "yes"}, 2.99),  # one term of the model, counted once
    ({"eye__pseudoexfoliation": "yes"}, 2.92),
    ({"eye__phacodonesis": "yes"}, 2.92),
    ({"eye__pseudoexfoliation": "yes", "eye__phacodonesis": "yes"}, 2.92),  # one term, counted once
    ({"eye__fundus_seen": "no"}, 2.46),
    ({"eye__retinopathy": "mild"}, 1.63),
    ({"eye__retinopathy": "proliferative"}, 1.63),
    ({"eye__glaucoma": "open angle"}, 1.30),
    ({"eye__glaucoma": "angle closure"}, 1.30),
    ({"eye__glaucoma": "other"}, 1.30),
    ({"eye__pupil_grade": "medium"}, 1.14),
    ({"eye__pupil_grade": "small"}, 1.45),
    ({"eye__axial_length_mm": 26.0}, 1.47),  # "26.0 mm and over" holds its edge
    ({"eye__axial_length_mm": 25.99}, 1.00),
    ({"patient__sex": "male"}, 1.28),
    ({"health__can_lie_flat": "no"}, 1.27),
    ({"patient__age_years": 59}, 1.00),
    ({"patient__age_years": 60}, 1.14),
    ({"patient__age_years": 69}, 1.14),
    ({"patient__age_years": 70}, 1.42),
    ({"patient__age_years": 80}, 1.58),
    ({"patient__age_years": 89}, 1.58),
    ({"patient__age_years": 90}, 2.37),
    ({"plan__surgeon__grade": "associate specialist"}, 0.87),
    ({"plan__surgeon__grade": "fellow"}, 1.65),
    ({"plan__surgeon__grade": "specialist registrar"}, 1.60),
    ({"plan__surgeon__grade": "senior house officer"}, 3.73),
    # several factors multiply (a logistic model without interactions)
    ({"eye__nucleus__grade": "brunescent", "eye__pupil_grade": "small", "patient__sex": "male"}, 2.99 * 1.45 * 1.28),
]


@pytest.mark.parametrize(("changes", "printed"), EXAMPLES)
def test_a_fact_earns_the_printed_ratio(
    changes: dict[str, object], printed: float, ratio: Callable[..., float]
) -> None:
    earned(ratio(**changes), printed)


NOTHING = [
    # The model's term is brunescent or white: a firm or hard nucleus is neither.
    {"eye__nucleus__grade": "hard"},
    {"eye__nucleus__grade": "hard", "eye__nucleus__locs_opalescence": 6.5, "eye__nucleus__locs_colour": 6.5},
    {"eye__nucleus__grade": "soft"},
    {"eye__posterior_subcapsular": "yes"},
    # The term is diabetic retinopathy: having diabetes is not having retinopathy.
    {"health__diabetes": "yes"},
    {"health__diabetes": "yes", "health__diabetes_controlled": "no"},
    # The term is glaucoma: a pressure rise on steroid drops, in the patient or the family, is not glaucoma.
    {"eye__steroid_response_self": "yes", "eye__steroid_response_family": "yes"},
    {"eye__pressure_mmhg": 29.0},
    # The term is no fundal view: a poor view through a dense nucleus is still a view.
    {"eye__fundus_seen": "yes", "eye__nucleus__grade": "hard"},
    # The term is the surgeon's own grade of the pupil: millimetres are not turned into a grade.
    {"eye__pupil_mm": 3.5},
    # The term is doxazosin. Odds of a floppy iris (Chatziralli and Sergentanis 2011, Ophthalmology 118:730-735) are not
    # odds of a torn capsule; tamsulosin is not a term of the model.
    {"health__alpha_blocker": {"ever": "yes", "drugs": ["tamsulosin"], "taking_now": "yes"}},
    {"health__alpha_blocker": {"ever": "yes", "drugs": ["alfuzosin", "terazosin"], "taking_now": "yes"}},
    {"health__alpha_blocker": {"ever": "yes", "drugs": ["doxazosin"], "taking_now": "no"}},
    # An only eye changes what a rupture means, not how likely it is (J Cataract Refract Surg 2002;28:1348-1354, doi
    # 10.1016/s0886-3350(01)01320-7: complications similar in 100 only eyes and 100 others).
    {"other_eye__seeing": "no", "other_eye__acuity": "NPL", "patient__what_matters": ["only good eye"]},
    # The staff-grade ratio 0.36 reflects which cases that grade was given; it is printed, and never used.
    {"plan__surgeon__grade": "staff grade"},
    # A device, dye or ring is a decision in theatre, not a term of the model.
    {"plan__pupil_expansion": "yes", "plan__dye": "yes", "plan__capsular_tension_ring": "yes"},
    # Not terms of the model as listed.
    {"eye__previous_vitrectomy": "yes", "eye__injections_into_eye": 12},
    {"eye__previous_trauma": "yes", "eye__corneal_scar": "yes", "eye__chamber_depth_mm": 2.0},
]


@pytest.mark.parametrize("changes", NOTHING)
def test_a_fact_that_is_no_term_of_the_model_earns_nothing(
    changes: dict[str, object], ratio: Callable[..., float]
) -> None:
    earned(ratio(**changes), 1.00)


def test_doxazosin_counts_while_it_is_taken(ratio: Callable[..., float]) -> None:
    # Narendran 2009: doxazosin 1.51, taking against not taking.
    taking = {"ever": "yes", "drugs": ["doxazosin"], "taking_now": "yes"}
    earned(ratio(health__alpha_blocker=taking), 1.51)
    earned(ratio(health__alpha_blocker={**taking, "drugs": ["tamsulosin", "doxazosin"]}), 1.51)


def test_only_eye_status_changes_no_outcome_at_all(
    reference: Make, clinic: Clinic, estimates: Callable[[Case, Clinic], dict[str, Estimate]]
) -> None:
    only = reference(other_eye__seeing="no", other_eye__acuity="NPL", patient__what_matters=["only good eye"])
    assert estimates(only, clinic) == estimates(reference(), clinic)


def test_tamsulosin_changes_no_outcome_at_all(
    reference: Make, clinic: Clinic, estimates: Callable[[Case, Clinic], dict[str, Estimate]]
) -> None:
    blocker = {"ever": "yes", "drugs": ["tamsulosin"], "taking_now": "yes"}
    with_it, without = (estimates(reference(**more), clinic) for more in ({"health__alpha_blocker": blocker}, {}))
    assert {name: (e.probability, e.interval) for name, e in with_it.items()} == {
        name: (e.probability, e.interval) for name, e in without.items()
    }


# What is not known is said, never guessed: the factor counts as absent in the figure, and as present in the range.

UNKNOWN = [
    ("patient__sex", "unknown", "sex", 1.28),
    ("eye__glaucoma", "unknown", "glaucoma", 1.30),
    ("eye__fundus_seen", "unknown", "no fundal view", 2.46),
    ("eye__pseudoexfoliation", "unknown", "pseudoexfoliation or phacodonesis", 2.92),
    ("eye__phacodonesis", "unknown", "pseudoexfoliation or phacodonesis", 2.92),
    ("eye__white", "unknown", "brunescent or white", 2.99),
    ("eye__nucleus__grade", "unknown", "brunescent or white", 2.99),
    ("eye__pupil_grade", "unknown", "pupil", 1.45),
    ("eye__axial_length_mm", None, "axial length", 1.47),
    ("health__alpha_blocker", {"ever": "unknown"}, "doxazosin", 1.51),
    ("health__alpha_blocker", {"ever": "yes"}, "doxazosin", 1.51),  # which one is not known
    ("health__alpha_blocker", {"ever": "yes", "drugs": ["doxazosin"]}, "doxazosin", 1.51),  # now or not, unknown
    ("health__can_lie_flat", "unknown", "cannot lie flat", 1.27),
]


@pytest.mark.parametrize(("key", "value", "factor", "highest"), UNKNOWN)
def test_an_unknown_factor_is_absent_in_the_figure_and_named(
    key: str, value: object, factor: str, highest: float, reference: Make, clinic: Clinic, rupture: Rupture
) -> None:
    # highest: the largest ratio of the factor in the table of Narendran 2009.
    known, unknown = rupture(reference(), clinic), rupture(reference(**{key: value}), clinic)
    assert unknown.probability == known.probability
    assert unknown.unknown_factors == (factor,)
    assert [(d.ratio, d.known) for d in unknown.drivers if d.factor == factor] == [(highest, False)]
    assert known.unknown_factors == ()
    assert unknown.interval is not None
    assert known.interval is not None
    assert unknown.interval.high > known.interval.high


def level(case: Case, model: OddsModel, name: str) -> FactorLevel:
    return next(found for found in factor_levels(case, model, grade_counts=True) if found.factor == name)


def test_retinopathy_unknown_in_a_patient_without_diabetes_is_none(reference: Make, model: OddsModel) -> None:
    # There is no diabetic retinopathy without diabetes.
    none = level(reference(eye__retinopathy="unknown", health__diabetes="no"), model, "diabetic retinopathy")
    assert (none.level, none.odds_ratio, none.highest) == ("no", 1.0, 1.0)
    for diabetes in ("yes", "unknown"):
        case = reference(eye__retinopathy="unknown", health__diabetes=diabetes)
        assert not level(case, model, "diabetic retinopathy").known


def test_a_brunescent_lens_needs_no_answer_about_white(reference: Make, model: OddsModel) -> None:
    case = reference(eye__nucleus__grade="brunescent", eye__white="unknown")
    assert level(case, model, "brunescent or white").odds_ratio == 2.99


def test_every_factor_of_the_model_is_read(reference: Make, model: OddsModel) -> None:
    found = factor_levels(reference(), model, grade_counts=True)
    assert [entry.factor for entry in found] == [factor.id for factor in model.factors]
    assert all(entry.known and entry.odds_ratio == 1.0 for entry in found)


@pytest.mark.parametrize("grade", ["senior house officer", "fellow", "associate specialist", "staff grade"])
def test_the_grade_is_off_once_the_centre_has_its_audit(
    grade: str, reference: Make, audited: Clinic, rupture: Rupture
) -> None:
    # An audited rate already contains the surgeons who produced it (Narendran 2009 applied to a centre's own rate:
    # counting the grade again would count it twice).
    by_grade, by_consultant = (rupture(reference(plan__surgeon__grade=g), audited) for g in (grade, "consultant"))
    assert by_grade.probability == by_consultant.probability
    assert by_grade.interval == by_consultant.interval
    assert "surgeon grade" not in {driver.factor for driver in by_grade.drivers}
    assert "assume.grade-off" in {note.id for note in by_grade.assumptions}


def test_the_grade_counts_without_an_audit(reference: Make, clinic: Clinic, rupture: Rupture) -> None:
    junior = rupture(reference(plan__surgeon__grade="senior house officer"), clinic)
    assert [(d.factor, d.ratio, d.known) for d in junior.drivers] == [("surgeon grade", 3.73, True)]
    assert "assume.grade-off" not in {note.id for note in junior.assumptions}


def test_the_staff_grade_ratio_is_used_nowhere(reference: Make, clinic: Clinic, rupture: Rupture) -> None:
    staff = rupture(reference(plan__surgeon__grade="staff grade"), clinic)
    assert staff.drivers == ()
    assert not any("0.36" in step.value for step in staff.chain)
