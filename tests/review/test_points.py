"""Every point for the surgeon fires where it should and not beside it; the rows are in points_table.py.

The source of each point is the one it carries in points.toml.
"""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import consent.review.rules
from consent.case import Case, Change, ExtraStep, LensDesign, LensPlace, NucleusGrade, Operation, Side, Topic
from consent.clinic import Clinic
from consent.compose import utter
from consent.drops.checks import CHECKS
from consent.errors import ClinicError
from consent.evidence import Verified, library
from consent.language import Speaker, load_catalogue
from consent.pack import compose_pack
from consent.review import Point, Severity, assess, points
from consent.review.facts_table import pairs, plausible
from consent.review.point import PREDICATES, rules
from consent.risk import assess_risks
from tests.review.points_table import OWN_THRESHOLDS, TABLE, TESTED_APART, lens

LANGUAGES = ("en", "bn", "hi")


def fired(case: Case, clinic: Clinic) -> dict[str, Point]:
    """Points of the rules by id."""
    risks = {estimate.outcome: estimate for estimate in assess_risks(case, clinic)}
    return {point.id: point for point in points(case, clinic, risks)}


def row_ids(rows: list[Any]) -> list[str]:
    seen: Counter[str] = Counter()
    names = []
    for row in rows:
        seen[row[0]] += 1
        names.append(f"{row[0]}-{seen[row[0]]}")
    return names


@pytest.fixture(scope="module")
def speakers() -> dict[str, Speaker]:
    return {tag: Speaker(tag) for tag in LANGUAGES}


@pytest.mark.parametrize(("rule_id", "fires", "silent"), TABLE, ids=row_ids(TABLE))
def test_fires_and_near_miss(rule_id, fires, silent, make_case, make_clinic):
    clinic = make_clinic()
    assert rule_id in fired(make_case(fires), clinic)
    assert rule_id not in fired(make_case(silent), clinic)


def test_every_point_is_in_the_table():
    assert {row[0] for row in TABLE} | set(TESTED_APART) == set(rules())


def test_every_rule_has_a_predicate_and_every_predicate_a_rule():
    assert set(PREDICATES) == set(rules()) - {"completeness.must-unmet", "answer.out-of-date", "answer.to-no-point"}


@pytest.mark.parametrize(("rule_id", "fires"), [row[:2] for row in TABLE], ids=row_ids(TABLE))
def test_a_point_is_complete_and_can_be_said(rule_id, fires, make_case, make_clinic, speakers):
    """Severity and source are those of points.toml; every word exists in both languages with its slots filled."""
    point = fired(make_case(fires), make_clinic())[rule_id]
    assert (point.severity, point.source) == (rules()[rule_id].severity, rules()[rule_id].source)
    assert point.facts
    for tag, speaker in speakers.items():
        for said in (point.title, point.settle, *point.facts):
            plain = utter(speaker, said).plain
            assert plain.strip(), (tag, said.id)
            assert "{" not in plain, (tag, said.id)


@pytest.mark.parametrize("rule_id", rules())
@pytest.mark.parametrize("tag", LANGUAGES)
def test_title_and_settle_are_in_the_catalogue(rule_id, tag):
    messages = load_catalogue(tag).messages
    for part in ("title", "settle"):
        assert messages[f"point.{rule_id}.{part}"].slots == frozenset()


@pytest.mark.parametrize("check_id", CHECKS)
@pytest.mark.parametrize("tag", LANGUAGES)
def test_findings_of_the_drop_checks_are_in_the_catalogue(check_id, tag):
    """``drop_points`` turns every check of the drops into a point with these two messages."""
    messages = load_catalogue(tag).messages
    for part in ("title", "settle"):
        assert messages[f"finding.{check_id}.{part}"].slots == frozenset()


def remarks_written_in_rules() -> Iterator[tuple[str, frozenset[str], str]]:
    """(id or prefix ending in a dot, slot names, place) of every ``remark(...)`` in the code of the rules."""
    for path in sorted(Path(consent.review.rules.__file__).parent.glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "remark":
                first = node.args[0]
                text = first.value if isinstance(first, ast.Constant) else first.values[0].value  # type: ignore[attr-defined]
                yield text, frozenset(str(key.arg) for key in node.keywords), f"{path.name}:{node.lineno}"


FAMILIES: Mapping[str, list[str]] = {
    "eye.": [side.value for side in Side],
    "nucleus.": [grade.value for grade in NucleusGrade],
    "lens.": [design.value for design in LensDesign],
    "place.": [place.value for place in LensPlace],
    "verified.": [verified.value for verified in Verified],
    "factor.": [factor.id for factor in library().one("narendran-2009").model.factors],  # type: ignore[union-attr]
    "operation.": [operation.value for operation in Operation],
    "what.": [
        *("fever", "heart-or-stroke", "blood-pressure", "sugar"),
        *("previous-vitrectomy", "injections", "trauma", "corneal-scar"),
        *("allergies", "alpha-blocker", "anticoagulant", "diabetes", "lie-flat", "uveitis", "threads", "inr"),
        *("axial-length", "corneal-power", "formula", "method", "day"),
    ],
    "topic.": list(Topic),
    "day.changed-": list(Change),
    "step.": [f"{step}.short" for step in ExtraStep],
    "retinopathy.": ["severe", "proliferative"],
    "fact.happened.": ["capsule_torn", "vitreous_lost", "piece_retained", "no_lens"],
    "fact.referral.": ["spoke-with", "called-at", "expected-on"],
    "fact.pair.": [name for kind in pairs().values() for name in kind],
    "value-of.": list(plausible()),
}


@pytest.mark.parametrize("tag", LANGUAGES)
def test_every_fact_of_the_rules_is_in_the_catalogue_with_its_slots(tag):
    messages = load_catalogue(tag).messages
    written = list(remarks_written_in_rules())
    assert len(written) > 60
    for text, slots, place in written:
        ids = [text + name for name in FAMILIES[text]] if text in FAMILIES else [text]
        for message_id in ids:
            assert message_id in messages, (tag, place, message_id)
            assert messages[message_id].slots == slots, (tag, place, message_id)


def test_figures_not_read_in_primary(make_case, make_clinic):
    """Fires where any figure behind the estimates was not read in its primary source; silent where all were."""
    case, clinic = make_case(), make_clinic()
    estimates = {estimate.outcome: estimate for estimate in assess_risks(case, clinic)}
    primary = next(verified for verified in Verified if verified.is_primary)
    read = {
        name: replace(estimate, sources=tuple(replace(source, verified=primary) for source in estimate.sources))
        for name, estimate in estimates.items()
    }
    assert "figures.not-read-in-primary" not in {point.id for point in points(case, clinic, read)}
    rupture = read["capsule_rupture"]
    weak = next(verified for verified in Verified if not verified.is_primary)
    one_weak = replace(rupture, sources=(replace(rupture.sources[0], verified=weak), *rupture.sources[1:]))
    found = {point.id: point for point in points(case, clinic, read | {"capsule_rupture": one_weak})}
    (fact,) = found["figures.not-read-in-primary"].facts
    assert fact.slots["figure"] == rupture.sources[0].series


def test_completeness_must_unmet(make_case, make_clinic, speakers):
    """A clinic that gives no data notice (IN-18) cannot have its form signed off; the shipped one can."""
    case = make_case()

    def missing(clinic: Clinic) -> tuple[Point, ...]:
        pack = compose_pack(case, clinic, ("en",), ("consent-form",))
        return tuple(point for point in pack.points if point.id == "completeness.must-unmet")

    assert missing(make_clinic()) == ()
    (point,) = missing(make_clinic({"personal_data": None}))
    assert (point.id, point.severity) == ("completeness.must-unmet", Severity.STOP)
    for speaker in speakers.values():
        assert [utter(speaker, said).plain for said in (point.title, point.settle)]
        assert "IN-18" in utter(speaker, point.facts[0]).plain


@pytest.mark.parametrize(
    ("changes", "not_senior"),
    [
        ({}, False),
        ({"plan.surgeon.grade": "associate specialist"}, False),
        ({"plan.surgeon.grade": "fellow"}, True),
        ({"plan.surgeon.grade": None}, True),
        ({"plan.trainee_may_operate": "yes"}, True),
        ({"plan.trainee_may_operate": "unknown"}, True),
    ],
)
def test_an_only_eye_says_who_operates(changes, not_senior, make_case, make_clinic):
    """A named senior surgeon and no trainee, or the point says so. Common practice, no source."""
    found = fired(make_case({"other_eye.seeing": "no", **changes}), make_clinic())["only-eye"]
    assert ("fact.only-eye-not-senior" in [fact.id for fact in found.facts]) == not_senior


def said(point: Point) -> list[str]:
    return [utter(Speaker("en", "latin"), fact).plain for fact in point.facts]


def test_fitness_not_recorded_names_all_that_is_missing_and_nothing_else(make_case, make_clinic):
    changes = {"fitness": {"tear_sac": "clear"}, "health.diabetes": "unknown"}
    found = said(fired(make_case(changes), make_clinic())["fitness.not-recorded"])
    assert found == [
        "not recorded: fever",
        "not recorded: recent heart attack or stroke",
        "not recorded: blood pressure",
        "not recorded: blood sugar",
    ]
    found = said(fired(make_case({"fitness.fever": "unknown"}), make_clinic())["fitness.not-recorded"])
    assert found == ["not recorded: fever"]


RIGID_ANYWHERE = [lens("rigid", power_d=None)]


@pytest.mark.parametrize(
    ("rule_id", "changes", "first_choice"),
    [
        ("lens.fallback-without-power", {"plan.fallback_lenses": RIGID_ANYWHERE}, []),
        ("lens.larger-wound-not-agreed", {"plan.extra_steps": [], "plan.fallback_lenses": RIGID_ANYWHERE}, []),
        (
            "lens.single-piece-in-sulcus",
            {"plan.fallback_lenses": [lens("single-piece", "ciliary sulcus")]},
            [],
        ),
        ("lens.single-piece-in-sulcus", {"done": {"lens": lens("single-piece", "ciliary sulcus")}}, []),
        ("lens.not-on-shelf", {"plan.lens.on_shelf": "no"}, ["first choice: single-piece, capsular bag"]),
        ("lens.first-choice-without-power", {"plan.lens.power_d": None}, ["first choice: single-piece, capsular bag"]),
    ],
)
def test_only_the_first_choice_is_called_the_first_choice(rule_id, changes, first_choice, make_case, make_clinic):
    """A surgeon who reads "first choice: rigid" of a fallback may have the wrong lens opened."""
    found = said(fired(make_case(changes), make_clinic())[rule_id])
    assert found
    assert [plain_words(fact) for fact in found if "first choice" in fact] == first_choice


def plain_words(fact: str) -> str:
    """The fact with the catalogue's words for design and place put back to those of the case file."""
    speaker = Speaker("en")
    for family, value in [("lens", "single-piece"), ("place", "capsular bag")]:
        fact = fact.replace(speaker.say(f"{family}.{value}").plain, value)
    return fact


def test_a_missing_lens_brings_each_fallback_with_its_power(make_case, make_clinic):
    fallbacks = [lens("three-piece", power_d=20.5), lens("rigid", power_d=None)]
    changes = {"plan.lens.on_shelf": "no", "plan.fallback_lenses": fallbacks}
    found = said(fired(make_case(changes), make_clinic())["lens.not-on-shelf"])
    assert "20.5 D" in found[1]
    assert not any(letter.isdigit() for letter in found[2])


@pytest.mark.parametrize(
    ("systolic", "diastolic", "text"), [(180, 90, "180/90"), (180, None, "180/-"), (None, 112, "-/112")]
)
def test_the_pressure_found_is_told_as_measured(systolic, diastolic, text, make_case, make_clinic):
    changes = {"fitness.systolic_mmhg": systolic, "fitness.diastolic_mmhg": diastolic}
    (fact,) = said(fired(make_case(changes), make_clinic())["fitness.blood-pressure"])
    assert text in fact


def test_findings_of_the_drops_become_points(make_case, make_clinic, speakers):
    """One point for each finding, as heavy as the check of the drops says. Source: that of the check."""
    changes = {"health.allergies": {"asked": "known", "known": [{"substance": "moxifloxacin", "reaction": "rash"}]}}
    assessment = assess(make_case(changes), make_clinic())
    found = {point.id: point for point in assessment.points if point.id.startswith("drops.")}
    assert set(found) == {f"drops.{finding.id}" for finding in assessment.findings}
    assert found["drops.allergy-quinolone"].severity is Severity.STOP
    for point in found.values():
        assert point.source
        for speaker in speakers.values():
            assert all(utter(speaker, said).plain for said in (point.title, point.settle, *point.facts))


def test_ordinary_eye_fires_nothing_but_the_note_on_sources(make_case, make_clinic):
    """Alert budget: an ordinary eye fires no stop and no ask. Common practice, no source."""
    found = assess(make_case(), make_clinic()).points
    assert {point.id for point in found} <= {"figures.not-read-in-primary"}
    assert all(point.severity is Severity.NOTE for point in found)


def test_hard_eye_stays_within_the_alert_budget(make_case, make_clinic):
    """Alert budget: a hard eye fires about six, at most seven. Common practice, no source."""
    found = assess(make_case(name="hard"), make_clinic()).points
    ids = [point.id for point in found]
    heavy = [point.id for point in found if point.severity is not Severity.NOTE]
    assert any(name.startswith("pupil.") for name in heavy)
    assert "lens.not-on-shelf" in heavy
    assert len(heavy) <= 7
    assert len(ids) == len(set(ids))


def test_heaviest_first(make_case, make_clinic):
    changes = {"plan.side": "right", "eye.pupil_mm": 4.0, "health.alpha_blocker.ever": "yes"}
    found = [point.severity for point in assess(make_case(changes), make_clinic()).points]
    assert {Severity.STOP, Severity.ASK, Severity.NOTE} <= set(found)
    assert found == sorted(found, key=list(Severity).index)


def test_a_profile_is_approved_for_the_place_where_it_is_used(make_case, make_clinic):
    """Guidance is not law: a clinician and a lawyer approve a profile. Common practice, no source."""
    case = make_case()
    assert "profile.not-approved" not in fired(case, make_clinic())
    assert "profile.not-approved" in fired(case, make_clinic({"profile_approved": None}))
    assert "profile.not-approved" in fired(case, make_clinic({"profile": "UK"}))
    assert "profile.not-approved" not in fired(case, make_clinic({"profile": "UK", "profile_approved.profile": "UK"}))


@pytest.mark.parametrize(("day", "overdue"), [("2027-05-01", False), ("2027-05-02", True)])
def test_a_profile_past_its_review_date_is_asked_about(day, overdue, make_case, make_clinic):
    """The shipped profiles are to be reviewed by 1 May 2027."""
    assert ("profile.review-overdue" in fired(make_case({"plan.date": day, "visits": []}), make_clinic())) == overdue


def test_the_ordinary_eye_fires_nothing_but_how_far_figures_were_read(make_case, make_clinic):
    """A point that fires for most patients is a setting, not a point: common practice, no source."""
    assert [point.id for point in assess(make_case(), make_clinic()).points] == ["figures.not-read-in-primary"]


def test_every_rule_argues_its_severity_and_names_its_source():
    assert len(rules()) >= 60
    for rule_id, rule in rules().items():
        assert len(rule.why.split()) >= 3, rule_id
        assert rule.source.strip(), rule_id


def test_every_threshold_is_overridden_below():
    shipped = {(rule_id, key) for rule_id, rule in rules().items() for key in rule.thresholds}
    assert {(row[0], row[1]) for row in OWN_THRESHOLDS} == shipped


@pytest.mark.parametrize(
    ("rule_id", "key", "value", "changes"), OWN_THRESHOLDS, ids=[f"{row[0]}-{row[1]}" for row in OWN_THRESHOLDS]
)
def test_a_clinic_sets_its_own_threshold(rule_id, key, value, changes, make_case, make_clinic):
    case, own = make_case(changes), make_clinic({"points": {rule_id: {key: value}}})
    assert rule_id not in fired(case, make_clinic())
    assert rule_id in fired(case, own)
    assert rule_id in {point.id for point in assess(case, own).points}


# The two points on pressure on day 1 share one limit, the clinic's own for "very high": none falls between them.


@pytest.mark.parametrize(
    ("high", "very_high", "pressure", "expected"),
    [
        (None, 46, 45.9, "after.pressure-high"),
        (None, 46, 46.0, "after.pressure-very-high"),
        (None, 35, 34.9, "after.pressure-high"),
        (None, 35, 35.0, "after.pressure-very-high"),
        (None, 20, 20.0, "after.pressure-very-high"),
        (25, 28, 27.9, "after.pressure-high"),
        (25, 28, 24.9, None),
        (50, None, 40.0, "after.pressure-very-high"),
        (50, None, 60.0, "after.pressure-very-high"),
        (None, None, 39.9, "after.pressure-high"),
        (None, None, 40.0, "after.pressure-very-high"),
    ],
)
def test_high_pressure_ends_where_very_high_begins(high, very_high, pressure, expected, make_case, make_clinic):
    """With two limits of their own, 45 mmHg fired neither where a clinic put "very high" at 46."""
    own = {"after.pressure-high": high, "after.pressure-very-high": very_high}
    clinic = make_clinic({"points": {name: {"mmhg": mmhg} for name, mmhg in own.items() if mmhg is not None}})
    found = fired(make_case({"day1.pressure_mmhg": pressure}), clinic)
    assert [name for name in own if name in found] == ([expected] if expected else [])


@pytest.mark.parametrize(
    ("settings", "nearest"),
    [
        ({"pupil.very-small": {"mmm": 5.0}}, '"mm"'),
        ({"measurement.eyes-differ": {"lenght_mm": 0.5}}, '"length_mm"'),
        ({"fitness.blood-pressure": {"systolic": 170}}, '"systolic_mmhg"'),
        ({"pupil.very-smal": {"mm": 5.0}}, '"pupil.very-small"'),
    ],
)
def test_an_unknown_threshold_is_an_error_that_names_the_nearest(settings, nearest, make_case, make_clinic):
    ((rule_id, keys),) = settings.items()
    with pytest.raises(ClinicError) as error:
        assess(make_case(), make_clinic({"points": settings}))
    (problem,) = error.value.problems
    assert problem.where == f"clinic: points.{rule_id}.{next(iter(keys))}"
    assert nearest in problem.remedy


@pytest.mark.parametrize(
    ("rule_id", "key"),
    [("polar", "mm"), ("polar", "polar"), ("side.disagrees", "mmhg"), ("after.pressure-high", "very_high_mmhg")],
)
def test_a_threshold_that_a_point_does_not_have_is_to_be_removed(rule_id, key, make_case, make_clinic):
    """Not "did you mean polar?" of the point polar itself; a limit that a new version took away is said to be gone."""
    with pytest.raises(ClinicError) as error:
        assess(make_case(), make_clinic({"points": {rule_id: {key: 1}}}))
    (problem,) = error.value.problems
    assert problem.where == f"clinic: points.{rule_id}.{key}"
    assert "did you mean" not in problem.remedy
    assert problem.remedy.startswith("remove it")
    assert "no such threshold" in problem.remedy


def test_every_unknown_threshold_is_listed(make_case, make_clinic):
    clinic = make_clinic(
        {"points": {"polar": {"mm": 1}, "nothing": {"x": 1, "y": 2}, "eye.pressure-high": {"mmhg": 28}}}
    )
    with pytest.raises(ClinicError) as error:
        assess(make_case(), clinic)
    assert len(error.value.problems) == 3
