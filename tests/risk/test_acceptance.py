"""Which figures may reach the patient: those a surgeon accepted for the case, from series read or accepted by name.

What was read in its paper and what was not is in each series file; here the outcomes stand for both kinds.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

import pytest

from consent.case import Answer, Case
from consent.clinic import AcceptedSeries, Clinic
from consent.risk import Estimate, accepted_figures, has_lapsed, may_show_personal, unaccepted_series

Make = Callable[..., Case]
Estimates = Callable[[Case, Clinic], dict[str, Estimate]]


def accepting(clinic: Clinic, *series: str) -> Clinic:
    entries = tuple(AcceptedSeries(series=name, by="Dr Invented", on=dt.date(2026, 11, 1)) for name in series)
    return clinic.model_copy(update={"accepted_series": entries})


def test_accepted_case_and_accepted_series_may_be_shown(case: Make, clinic: Clinic, estimates: Estimates) -> None:
    eye, place = case("ordinary"), accepting(clinic, "narendran-2009")
    permission = may_show_personal(estimates(eye, place)["capsule_rupture"], eye, place)
    assert permission.allowed
    assert permission.missing == ()


def test_a_case_the_surgeon_has_not_accepted_shows_nothing_personal(
    case: Make, clinic: Clinic, estimates: Estimates
) -> None:
    eye = case("ordinary", figures_accepted=None)
    for found in estimates(eye, clinic).values():
        permission = may_show_personal(found, eye, clinic)
        assert not permission.allowed
        assert any("surgeon has not accepted" in reason for reason in permission.missing)


def test_a_series_nobody_accepted_is_named(case: Make, clinic: Clinic, estimates: Estimates) -> None:
    # Narendran 2009 is quoted at second hand, one of its figures from memory.
    eye, place = case("ordinary"), accepting(clinic)
    permission = may_show_personal(estimates(eye, place)["capsule_rupture"], eye, place)
    assert not permission.allowed
    assert [reason for reason in permission.missing if "narendran-2009" in reason] == list(permission.missing)


def test_both_acceptances_missing_are_both_named(case: Make, clinic: Clinic, estimates: Estimates) -> None:
    eye, place = case("ordinary", figures_accepted=None), accepting(clinic)
    missing = may_show_personal(estimates(eye, place)["capsule_rupture"], eye, place).missing
    assert len(missing) == 2
    assert "surgeon" in missing[0]
    assert "narendran-2009" in missing[1]


@pytest.mark.parametrize("name", ["chu-2016", "narendran-2008", "narendran", "Narendran-2009"])
def test_accepting_another_series_does_not_help(name: str, case: Make, clinic: Clinic, estimates: Estimates) -> None:
    eye, place = case("ordinary"), accepting(clinic, name)
    assert unaccepted_series(estimates(eye, place)["capsule_rupture"], place) == ("narendran-2009",)


@pytest.mark.parametrize(
    "outcome",
    [
        # Read in their abstracts: Stewart 2023, Ophthalmic Epidemiol 2021:271-278, Suazo 2025, El-Hindy 2009 and
        # Day 2015.
        "suprachoroidal_haemorrhage",
        "dropped_nucleus",
        "return_to_theatre",
        "anaesthetic_harm",
        "good_vision",
    ],
)
def test_a_series_read_in_its_paper_needs_no_acceptance(
    outcome: str, case: Make, clinic: Clinic, estimates: Estimates
) -> None:
    eye, place = case("ordinary"), accepting(clinic)
    found = estimates(eye, place)[outcome]
    assert unaccepted_series(found, place) == ()
    assert may_show_personal(found, eye, place).allowed


@pytest.mark.parametrize("outcome", ["endophthalmitis", "retinal_detachment", "macular_oedema"])
def test_what_rests_on_the_rupture_needs_its_acceptance_too(
    outcome: str, case: Make, clinic: Clinic, estimates: Estimates
) -> None:
    # The arms were read (Haripriya 2017, Day 2016, Chu 2016); the probability of rupture mixed in was not.
    eye = case("ordinary")
    found = estimates(eye, clinic)[outcome]
    assert unaccepted_series(found, accepting(clinic)) == ("narendran-2009",)
    assert may_show_personal(found, eye, accepting(clinic, "narendran-2009")).allowed


def test_the_quoted_rate_of_diabetics_needs_its_own_acceptance(
    case: Make, clinic: Clinic, estimates: Estimates
) -> None:
    # The 4.04 percent of Chu 2016 was read in a summary; the rupture does not enter it.
    eye = case("ordinary", health__diabetes="yes")
    found = estimates(eye, clinic)["macular_oedema"]
    assert unaccepted_series(found, accepting(clinic, "narendran-2009")) == ("chu-2016",)
    assert may_show_personal(found, eye, accepting(clinic, "chu-2016")).allowed


def test_an_observed_rate_read_in_its_paper_needs_no_model(case: Make, clinic: Clinic, estimates: Estimates) -> None:
    # Aswin 2022 and Haripriya 2017 were read in their abstracts; Narendran 2009 has no part in a posterior polar eye.
    eye, place = case("ordinary", eye__posterior_polar="yes"), accepting(clinic)
    assert may_show_personal(estimates(eye, place)["capsule_rupture"], eye, place).allowed


def test_what_is_not_known_is_never_shown(case: Make, clinic: Clinic, estimates: Estimates) -> None:
    eye = case("ordinary")
    permission = may_show_personal(estimates(eye, clinic)["loss_of_eye"], eye, clinic)
    assert not permission.allowed
    assert permission.missing == ("not known",)


def test_each_series_is_named_once(case: Make, clinic: Clinic, estimates: Estimates) -> None:
    # Three entries of Narendran 2009 stand behind the figure; it is one series to accept.
    found = estimates(case("hard"), clinic)["capsule_rupture"]
    assert len([source for source in found.sources if source.series == "narendran-2009"]) == 3
    assert unaccepted_series(found, accepting(clinic)) == ("narendran-2009",)


def test_only_the_figures_that_were_accepted_may_be_shown(case: Make, clinic: Clinic, estimates: Estimates) -> None:
    """GMC, Decision making and consent (2020), 10: information must be about this patient, so a figure worked out from
    other facts than those the surgeon saw is not the accepted one."""
    eye, place = case("ordinary"), accepting(clinic, "narendran-2009")
    assert eye.figures_accepted is not None
    figures = accepted_figures(estimates(eye, place).values())
    accepted = eye.figures_accepted.model_copy(update={"figures": figures})
    eye = eye.model_copy(update={"figures_accepted": accepted})
    found = estimates(eye, place)
    assert may_show_personal(found["capsule_rupture"], eye, place).allowed
    assert not has_lapsed(found.values(), eye)
    changed = eye.model_copy(update={"eye": eye.eye.model_copy(update={"pseudoexfoliation": Answer.YES})})
    other = estimates(changed, place)
    assert other["capsule_rupture"].probability != found["capsule_rupture"].probability
    permission = may_show_personal(other["capsule_rupture"], changed, place)
    assert permission.missing == ("the figure is not the one that the surgeon accepted",)
    assert has_lapsed(other.values(), changed)
