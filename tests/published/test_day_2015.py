"""Day AC, Donachie PHJ, Sparrow JM, Johnston RL. The Royal College of Ophthalmologists' National Ophthalmology Database
study of cataract surgery: report 1, visual outcomes and complications. Eye (Lond) 2015;29(4):552-560, doi
10.1038/eye.2015.3, PMID 25679413.

Read: the abstract, at pmc.ncbi.nlm.nih.gov/articles/PMC4816350.
"""

from __future__ import annotations

import pytest

from consent.case import Answer, Glaucoma, Retinopathy, read_case
from consent.case.acuity import parse_acuity
from consent.clinic import read_clinic
from consent.compose.counts import Shown, show
from consent.evidence import library
from consent.resources import package_data
from consent.risk import Estimate, assess_risks

DISEASES: dict[str, object] = {
    "glaucoma": Glaucoma.OPEN_ANGLE,
    "retinopathy": Retinopathy.MILD,
    "macular_oedema": Answer.YES,
    "other_macular_disease": Answer.YES,
    "epiretinal_membrane": Answer.YES,
    "vein_occlusion": Answer.YES,
    "amblyopia": Answer.YES,
    "corneal_scar": Answer.YES,
    "uveitis": Answer.YES,
    "previous_detachment": Answer.YES,
}


def program(population: str = "uk", **eye: object) -> Estimate:
    """What the program says of good vision in the ordinary shipped case with the eye changed."""
    case = read_case(package_data("case", "examples", "ordinary.toml"))
    case = case.model_copy(update={"eye": case.eye.model_copy(update=eye)})
    clinic = read_clinic().model_copy(update={"population": population})
    return next(found for found in assess_risks(case, clinic) if found.outcome == "good_vision")


@pytest.mark.parametrize("population", ["uk", "south-asia"])
def test_an_eye_without_another_disease(population: str) -> None:
    # "Postoperative best-measured visual acuity was 0.00 and 0.30 logMAR or better in 50.8 and 94.6% eyes without
    # ocular co-pathology, and 32.5 and 79.9% in eyes with co-pathology."
    found = program(population)
    assert 100 * (found.probability or 0) == pytest.approx(94.6, abs=0.05)
    assert found.benefit and not found.personal


@pytest.mark.parametrize("disease", DISEASES)
def test_an_eye_with_another_disease(disease: str) -> None:
    found = program(**{disease: DISEASES[disease]})
    assert 100 * (found.probability or 0) == pytest.approx(79.9, abs=0.05)
    assert 100 * (found.usual or 0) == pytest.approx(94.6, abs=0.05)
    assert found.personal


def test_a_disease_that_could_not_be_looked_for_is_shown_as_present_and_said() -> None:
    found = program(other_macular_disease=Answer.UNKNOWN)
    assert 100 * (found.probability or 0) == pytest.approx(79.9, abs=0.05)
    assert "assume.fact-unknown" in {note.id for note in found.assumptions}


def test_good_vision_is_6_12() -> None:
    # 0.30 logMAR: log10(12/6) = 0.301, as the program reads the two notations.
    assert parse_acuity("6/12").logmar == pytest.approx(0.30, abs=0.005)


def test_a_patient_reads_946_and_799_of_1000() -> None:
    assert show(program().probability, None, None, single=True) == Shown("count", count=946)
    found = program(uveitis=Answer.YES)
    assert show(found.probability, None, None, single=True) == Shown("count", count=799)


def test_the_40_fold_ratio_of_detachment_is_not_used() -> None:
    # "a 42 times higher risk of retinal detachment surgery within 3 months": at another horizon than the rates used.
    figure = library().cited("day-2015/detachment-rupture-ratio").figure
    assert (figure.value, figure.use.value) == (42, "not for calculation")
    case = read_case(package_data("case", "examples", "ordinary.toml"))
    used = {
        source.series for found in assess_risks(case, read_clinic()) for source in found.sources if not found.benefit
    }
    assert "day-2015" not in used
