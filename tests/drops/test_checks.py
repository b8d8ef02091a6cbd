"""Every check: a case that fires it, with its severity, and one that does not; the rows are in the tables beside.

The source of each check is the one its ground in checks.toml names.
"""

from __future__ import annotations

import datetime as dt

import pytest

from consent.case import Case, Visit
from consent.case.sourced import Verified
from consent.clinic import Clinic
from consent.drops import Finding, Start, check_drops, plan_drops, read_formulary
from consent.drops.checks import CHECKS
from consent.drops.formulary import DrugClass
from consent.drops.grounds import mentions, read_checks
from consent.drops.limits import read_limits
from consent.drops.theatre import percent_of, read_theatre
from tests.drops import table_allergies, table_anti_inflammatory, table_plan, table_pressure_and_pupil
from tests.drops.checking import (
    LONG_STEROID,
    MOXI,
    NSAID,
    Change,
    Fires,
    Items,
    Parts,
    Silent,
    allergic,
    changed_on,
    eye,
    findings,
    item,
    own,
    visits,
)

_TABLES = (table_plan, table_allergies, table_anti_inflammatory, table_pressure_and_pupil)
FIRES: list[Fires] = [row for table in _TABLES for row in table.FIRES]
SILENT: list[Silent] = [row for table in _TABLES for row in table.SILENT]


def checked(case: Case, clinic: Clinic) -> tuple[Finding, ...]:
    """The findings on ``case`` as it stands."""
    return check_drops(plan_drops(case, clinic), case, read_formulary(clinic))


@pytest.mark.parametrize(("check_id", "items", "parts", "severity"), FIRES)
def test_fires(
    check_id: str,
    items: Items,
    parts: Parts,
    severity: str,
    clinic: Clinic,
    ordinary: Case,
    change: Change,
) -> None:
    """The check answers, once, with its severity, its facts and a severity its ground allows."""
    found = findings(check_id, clinic, ordinary, change, items, parts)
    assert [finding.severity for finding in found] == [severity]
    assert found[0].facts
    assert found[0].severity in found[0].ground.severities


@pytest.mark.parametrize(("check_id", "items", "parts"), SILENT)
def test_stays_silent(
    check_id: str, items: Items, parts: Parts, clinic: Clinic, ordinary: Case, change: Change
) -> None:
    """The check has nothing to say."""
    assert findings(check_id, clinic, ordinary, change, items, parts) == []


@pytest.mark.parametrize(
    ("start", "pad_off", "severity"),
    [
        (Start.EVENING, "next morning", "ask"),
        (Start.EVENING, None, "ask"),
        (Start.EVENING, "same evening", None),
        (Start.DAY_1, "at the clinic", "note"),
        (Start.DAY_1, "next morning", None),
    ],
)
def test_drops_before_pad_off(
    start: Start, pad_off: str | None, severity: str | None, clinic: Clinic, ordinary: Case, change: Change
) -> None:
    """No drop goes under a pad."""
    found = findings("drops-before-pad-off", clinic, ordinary, change, MOXI, {}, start, pad_off=pad_off)
    assert [finding.severity for finding in found] == ([severity] if severity else [])


@pytest.mark.parametrize(
    ("days", "missing"),
    [
        ((13,), {"days 14-28", "days 6-8", "days 28-42"}),
        ((14,), {"days 6-8", "days 28-42"}),
        ((28,), {"days 6-8"}),
        ((29,), {"days 14-28", "days 6-8"}),
        ((7, 20), {"days 28-42"}),
        ((7, 20, 42), set()),
        ((6, 28), set()),
        ((7, 20, 43), {"days 28-42"}),
    ],
)
def test_windows_of_pressure_visits(
    days: tuple[int, ...], missing: set[str], clinic: Clinic, ordinary: Case, change: Change
) -> None:
    """Days 14 to 28 for every long course; about day 7 and days 28 to 42 too for an eye at risk; ends counted in."""
    visits = tuple(Visit(kind="pressure", date=ordinary.plan.date + dt.timedelta(days=day)) for day in days)
    case = change(ordinary, eye={"steroid_response_self": "yes"}).model_copy(update={"visits": visits})
    found = [
        *findings("steroid-without-pressure-visit", clinic, case, change, LONG_STEROID, {}),
        *findings("steroid-responder-visits", clinic, case, change, LONG_STEROID, {}),
    ]
    prefix = "no pressure visit on "
    told = {fact.removeprefix(prefix) for finding in found for fact in finding.facts if fact.startswith(prefix)}
    assert told == missing


def test_a_combination_and_its_steroid_count_together(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Seven days of the combination and eight of the steroid alone are a course of 15 days."""
    items = [item("levofloxacin-dexamethasone"), item("loteprednol", (8, 8, 4))]
    case = ordinary.model_copy(update={"visits": ()})
    (found,) = findings("steroid-without-pressure-visit", clinic, case, change, items, {})
    assert "steroid for 15 days" in found.facts
    assert found.rows == (1, 2)


def test_every_check_fires_and_stays_silent_somewhere() -> None:
    """No check without a case on either side."""
    apart = {"drops-before-pad-off"}
    assert {row[0] for row in FIRES} == set(CHECKS) - apart
    assert {row[0] for row in SILENT} == set(CHECKS) - apart


def test_grounds_and_checks_belong_together() -> None:
    """Every check has its ground and every ground its check; every severity it may give is fired above."""
    texts = read_checks()
    assert set(texts.findings) == set(CHECKS)
    for check_id, ground in texts.findings.items():
        if check_id != "drops-before-pad-off":
            fired = {severity for fired_id, _, _, severity in FIRES if fired_id == check_id}
            assert fired == set(ground.severities), check_id
        if ground.verified is Verified.PRACTICE:
            assert "common practice" in ground.source, check_id


def test_gravest_first(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Stops, then asks, then notes."""
    case = change(ordinary, eye={"herpes_keratitis": "active", "steroid_response_self": "unknown"})
    case = case.model_copy(update={"visits": ()})
    found = [finding.severity for finding in checked(case, clinic)]
    assert found == ["stop", "ask", "note"]


def test_shipped_cases(clinic: Clinic, ordinary: Case, hard: Case) -> None:
    """An ordinary eye has no finding; the hard one takes tamsulosin, and nobody knows how it answers steroids."""
    assert checked(ordinary, clinic) == ()
    found = [(finding.id, finding.severity, finding.rows) for finding in checked(hard, clinic)]
    assert found == [
        ("cycloplegic-prostate-or-confusion", "ask", (3,)),
        ("steroid-response-not-asked", "note", (2,)),
    ]


def test_a_case_written_before_these_questions_is_not_flooded(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """With every question of drugs, eye and family left out, an ordinary course asks one thing and notes one."""
    older = {
        "health": (
            *("liver_disease", "adrenal_failure", "low_sodium_or_potassium", "heart_disease", "overactive_thyroid"),
            *("insulin_for_long", "prostate_trouble", "confusion", "glaucoma_in_close_relative"),
        ),
        "eye": ("epithelial_defect", "corneal_sensation_reduced", "other_corneal_infection"),
    }
    case = change(ordinary, **{part: dict.fromkeys(keys, "unknown") for part, keys in older.items()})
    found = [(finding.id, finding.severity) for finding in checked(case, clinic)]
    assert found == [("steroid-corneal-infection", "ask"), ("steroid-response-not-asked", "note")]


def test_rows_of_long_standing_drops_count(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """UK SmPC of timolol: two beta-blockers, one of the regimen and one long-standing, in one eye on one day."""
    for eyes, expected in (("left", ["left eye"]), ("each", ["left eye"]), ("right", [])):
        parts = own("timolol", eyes, decision="continue")
        found = findings("duplicate-class", clinic, ordinary, change, [item("betaxolol")], parts)
        assert [finding.facts[1].split(",")[0] for finding in found] == expected


def test_a_medicine_names_the_eyes_it_goes_into(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Common practice: no glaucoma drop is lost. One of both eyes is not covered by the row of one."""
    for text, eyes, asked in (
        ("timolol eye drops both eyes", "left", True),
        ("timolol eye drops both eyes", "each", False),
        ("timolol right eye", "left", True),
        ("timolol right eye", "right", False),
        ("timolol", "right", False),
    ):
        parts = {"health": {"medicines": [text]}, **own("timolol", eyes, decision="continue")}
        found = findings("own-glaucoma-drop-missing", clinic, ordinary, change, MOXI, parts)
        assert [finding.facts for finding in found] == ([(f"uses: {text}",)] if asked else []), (text, eyes)


def test_doses_close_names_the_closest_two(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Eight doses from 9 to 12: worked by hand, 180 minutes in 7 gaps, on quarters of an hour as near as 15 minutes."""
    day = {"patient": {"waking_from": "09:00:00", "waking_to": "12:00:00"}}
    items = [item("loteprednol", (1, 7, 3), (8, 7, 8), ends="course end"), *MOXI]
    items[0]["steps"][1]["more_on_purpose"] = True
    (found,) = findings("doses-close", clinic, ordinary, change, items, day)
    assert found.rows == (1,)  # moxifloxacin four times: an hour apart, and an hour is enough
    assert found.facts == ("loteprednol 0.5%, left eye: 15 minutes between doses, first on day 8",)


def test_a_finding_carries_what_its_rows_order(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Drug, eye, days and doses, by hand; a long-standing drop has no last day, so a longer print orders no more."""
    (taper,) = findings("steroid-without-pressure-visit", clinic, ordinary, change, LONG_STEROID, {"visits": []})
    assert taper.ordered == ("loteprednol left 1..15:4x1",)
    parts = {**own("timolol", "right", decision="continue"), "health": {"asthma": "yes"}}
    for items in (MOXI, [item("moxifloxacin", (1, 60, 4))]):
        (lungs,) = findings("beta-blocker-heart-or-lungs", clinic, ordinary, change, items, parts)
        assert lungs.ordered == ("timolol right 1..:2x1",)


def test_what_is_said_in_pregnancy_has_its_source() -> None:
    """A national registry's summary and label digests; Demarinis 2023: one class is barred, the others asked about."""
    told = read_checks().in_pregnancy
    assert {drug_class.value: said.severity for drug_class, said in told.items()} == {
        "carbonic anhydrase inhibitor": "stop",
        "beta-blocker": "ask",
        "nsaid": "ask",
    }
    assert told[DrugClass.NSAID].says == "NSAID: not in the last 3 months"
    assert "10.3390/ph16101433" in told[DrugClass.NSAID].source


def test_the_other_eye_counts_from_its_own_operation(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """US nepafenac label: days before and after surgery are those of the eye that gets the drop."""
    parts = {"other_eye": {"operated": "yes", "operated_on": "2027-02-10", "regimen": "own"}}
    assert findings("nsaid-over-14-days", clinic, ordinary, change, NSAID, parts) == []
    long = [item("nepafenac", (1, 15, 3))]
    cornea = {**parts, **visits(("cornea", "2027-02-25"))}  # day 15 of the right eye, day 1 of the left
    (left,) = findings("nsaid-without-cornea-visit", clinic, ordinary, change, long, cornea)
    assert left.rows == (2,)  # row 1 is the right eye's, whose drops began first
    both = findings("nsaid-over-14-days", clinic, ordinary, change, long, cornea)
    assert [finding.facts[0] for finding in both] == ["15 days after surgery, from day 1"] * 2


def test_what_a_change_has_ended_is_not_checked_again(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """The quinolone was taken off on day 3, the combination that doubled it with it: nothing is left to stop."""
    items, parts = [item("levofloxacin-dexamethasone"), *MOXI], allergic("ofloxacin")
    for check_id in ("allergy-quinolone", "duplicate-class"):
        before = findings(check_id, clinic, ordinary, change, items, parts)
        after = findings(
            check_id, clinic, ordinary, change, items, parts | changed_on("2027-02-27"), later=LONG_STEROID
        )
        assert ([finding.severity for finding in before], after) == (["stop"], [])


def test_days_of_a_steroid_given_before_a_change_count(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """PMID 33428351: the pressure rises from week 2, whichever steroid was first. Ten days of one, ten of another."""
    items, later = [item("prednisolone-acetate", (1, 20, 4))], [item("loteprednol", (1, 10, 4))]
    parts = {"visits": [], **changed_on("2027-03-07")}  # day 11
    (found,) = findings("steroid-without-pressure-visit", clinic, ordinary, change, items, parts, later=later)
    assert found.facts[0] == "steroid for 20 days"
    assert found.rows == (2,)


def test_the_evening_of_the_other_eye_is_long_past(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Only the pad of the eye operated now can be in the way."""
    other = {"other_eye": {"operated": "yes", "operated_on": "2027-02-20", "regimen": "own"}}
    (found,) = findings("drops-before-pad-off", clinic, ordinary, change, MOXI, other, Start.EVENING)
    assert found.rows == (2,)


def test_a_long_standing_drop_is_read_by_what_it_holds(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """An id of the clinic's own says nothing: the formulary does. Common practice: no glaucoma drop is lost."""
    parts = {**eye(glaucoma_drops=["Timolol 0.5%"]), **own("blue-bottle", decision="stop", decided_by="Dr Example")}
    assert findings("own-glaucoma-drop-missing", clinic, ordinary, change, MOXI, parts) == []
    (note,) = findings("own-drop-stopped", clinic, ordinary, change, MOXI, parts)
    assert note.facts == ("uses: timolol, left eye", "decided by: Dr Example")


@pytest.mark.parametrize(
    ("text", "percent"),
    [
        ("phenylephrine 2.5%", 2.5),
        ("Phenylephrine hydrochloride 10 %", 10),
        ("tropicamide 0.8% + phenylephrine 5%", 5),
        ("phenylephrine eye drops (2.5%)", 2.5),
        ("phenylephrine 100 mg/mL", 10),
        ("phenylephrine", None),
        ("phenylephrine + ketorolac 0.3%", None),
        ("10% phenylephrine", 10),
        ("phenylephrine HCl 10%", 10),
        ("phenylephrine hcl ophthalmic solution (10 per cent)", 10),
        ("tropicamide 0.8%, 5% phenylephrine eye drops", 5),
        ("tropicamide 0.8% and 100 mg/mL phenylephrine", 10),
        ("10% phenylephrine + tropicamide 1%", 10),
        ("phenylephrine 2.5%, phenylephrine 10% if the pupil stays small", 10),
        ("tropicamide 1% phenylephrine", None),  # whose strength is it?
        ("tropicamide 1%/phenylephrine 2.5%", 2.5),
        ("tropicamide 1%", None),
    ],
)
def test_strength_is_read_where_it_is_written(text: str, percent: float | None) -> None:
    """Right behind the name, or before it where no other drug stands before; the highest, where there are several.

    10 mg/mL is 1% by the definition of per cent weight in volume.
    """
    assert percent_of("phenylephrine", text) == percent


def test_a_drug_is_found_at_the_start_of_a_word() -> None:
    """Atropine is not in homatropine; a combination holds two drugs."""
    found = {
        word for drug in read_theatre().recognise("Homatropine 2%; lignocaine + adrenaline") for word in drug.words
    }
    assert found == {"homatropine", "lidocaine", "lignocaine", "adrenaline", "epinephrine"}


def test_words_stand_alone_or_inside() -> None:
    """A short word must be a word of its own; a long one may be part of one."""
    assert mentions("BAK in drops", ["bak"])
    assert not mentions("baker's yeast", ["bak"])
    assert mentions("ciprofloxacin", ["floxacin"])
    assert not mentions("penicillin", ["floxacin"])


def test_limits_have_sources() -> None:
    """The thresholds as the sources in the file give them."""
    limits = read_limits()
    assert (limits.nsaid_days.value, limits.steroid_days.value, limits.long_eye_mm.value) == (14, 14, 26.0)
    assert (limits.pressure_visit.first, limits.pressure_visit.last) == (14, 28)
    assert limits.long_session_minutes.value == 20
    assert (limits.phenylephrine_usual_percent.value, limits.phenylephrine_strong_percent.value) == (2.5, 10.0)
