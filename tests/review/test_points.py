"""Every point for the surgeon: a change of the ordinary example that fires it, and a near miss that does not.

The source of each point is the one it carries in points.toml; where that says "common practice, no source", so does
the row here. A row at a threshold stands beside a row just past it.
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
from consent.case import Case, LensDesign, LensPlace, NucleusGrade, Operation, Side
from consent.clinic import Clinic
from consent.compose import Voice, consent_form, utter
from consent.drops.checks import CHECKS
from consent.errors import ClinicError
from consent.evidence import Verified, library
from consent.language import Speaker, load_catalogue
from consent.review import Point, Severity, assess, completeness, completeness_points, points, profile
from consent.review.point import PREDICATES, rules
from consent.risk import assess_risks

LANGUAGES = ("en", "bn")

Changes = dict[str, Any]
Row = tuple[str, Changes, Changes]

HARD = {"eye.nucleus.grade": "hard"}
BROWN = {"eye.nucleus.grade": "brunescent"}
BY_HAND = {"eye.nucleus.grade": "hard", "plan.operation": "manual small-incision"}
GUARDIAN = {
    "patient.decision.basis": "legal guardian",
    "patient.decision.name": "G. Example",
    "patient.decision.relation": "guardian appointed by the court",
    "patient.decision.can_decide": "no",
}
CANNOT_READ = {"patient.reads": "no", "talk.witness": "W. Example", "talk.witness_in_treating_team": "no"}


def lens(design: str, place: str = "capsular bag", **more: Any) -> dict[str, Any]:
    return {"design": design, "material": "acrylic", "place": place, "a_constant": 118.4, "power_d": 20.0, **more}


# id, a change that fires the point, a change that does not
TABLE: list[Row] = [
    # Universal Protocol UP.01.01.01: the eye is written twice on purpose
    ("side.disagrees", {"plan.side": "right"}, {"plan.side": "left"}),
    ("side.disagrees", {"eye.side": "right"}, {"eye.side": "right", "plan.side": "right"}),
    ("side.measured-for-other-eye", {"measurement.side": "right"}, {"measurement.side": "left"}),
    ("side.lens-already-there", {"eye.lens_implant_present": "yes"}, {"eye.lens_implant_present": "no"}),
    ("side.lens-already-there", {"eye.lens_implant_present": "unknown"}, {}),
    # what sight the eye can regain: common practice, no source
    ("sight.no-light", {"eye.acuity_corrected": "NPL"}, {"eye.acuity_corrected": "PL"}),
    (
        "sight.no-light",
        {"eye.acuity_corrected": None, "eye.acuity_unaided": "NPL"},
        {"eye.acuity_corrected": None, "eye.acuity_unaided": "HM"},
    ),
    (
        "sight.back-of-eye-unseen",
        {"eye.fundus_seen": "no", "eye.ultrasound": "not done"},
        {"eye.fundus_seen": "no", "eye.ultrasound": "normal"},
    ),
    ("sight.back-of-eye-unseen", {"eye.fundus_seen": "unknown"}, {"eye.ultrasound": "not done"}),
    ("sight.cannot-be-promised", {"eye.light_projection": "inaccurate"}, {"eye.light_projection": "not tested"}),
    ("sight.cannot-be-promised", {"eye.afferent_pupil_defect": "yes"}, {"eye.afferent_pupil_defect": "unknown"}),
    ("sight.cannot-be-promised", {"eye.ultrasound": "abnormal"}, {"eye.ultrasound": "normal"}),
    (
        "sight.projection-not-tested",
        {"eye.acuity_corrected": "CF", "eye.light_projection": "not tested"},
        {"eye.acuity_corrected": "6/60", "eye.light_projection": "not tested"},
    ),
    ("sight.projection-not-tested", {"eye.acuity_corrected": "PL", "eye.light_projection": "not tested"}, {}),
    # nobody signs for a competent adult: Samira Kohli v Dr Prabha Manchanda (2008) 2 SCC 1
    ("consent.someone-else", GUARDIAN | {"patient.decision.can_decide": "yes"}, GUARDIAN),
    ("consent.someone-else", GUARDIAN | {"patient.decision.basis": "parent of a minor"}, {}),
    ("consent.someone-else", GUARDIAN | {"patient.decision.name": None}, GUARDIAN),
    ("consent.someone-else", GUARDIAN | {"patient.decision.relation": None}, GUARDIAN),
    # Bharatiya Nyaya Sanhita 2023, s. 28; Mental Healthcare Act 2017, s. 4 as a model
    ("consent.cannot-decide", {"patient.decision.can_decide": "no"}, GUARDIAN),
    ("consent.cannot-decide", {"patient.decision.can_decide": "no"}, {"patient.decision.can_decide": "unknown"}),
    (
        "consent.capacity-not-recorded",
        {"patient.decision.can_decide": "unknown"},
        {"patient.decision.can_decide": "no"},
    ),
    ("consent.after-sedation", {"talk.after_sedation": "yes"}, {"talk.after_sedation": "no"}),
    # Mental Healthcare Act 2017, s. 4 and 42 CFR 441.258 as models
    (
        "consent.no-interpreter",
        {"talk.language": "hi"},
        {"talk.language": "hi", "patient.interpreter": {"name": "I. Example"}},
    ),
    ("consent.no-interpreter", {"patient.interpreter_needed": "yes"}, {"patient.interpreter_needed": "no"}),
    # Medical Devices Rules 2017 schedule as a model: an impartial witness for who cannot read or write
    ("consent.no-witness", {"patient.reads": "no"}, CANNOT_READ),
    ("consent.no-witness", {"patient.writes_name": "no"}, CANNOT_READ | {"patient.writes_name": "no"}),
    ("consent.no-witness", CANNOT_READ | {"talk.witness_in_treating_team": "yes"}, CANNOT_READ),
    ("consent.no-witness", CANNOT_READ | {"talk.witness_in_treating_team": "unknown"}, {"patient.reads": "yes"}),
    ("consent.not-explained", {"talk.at": None}, {}),
    ("consent.not-explained", {"talk.by": None}, {}),
    # Thefaut v Johnston [2017] EWHC 497 (QB); surgery is on 24 February 2027
    (
        "consent.explained-same-day",
        {"talk.at": "2027-02-24T07:30:00+05:30"},
        {"talk.at": "2027-02-23T23:30:00+05:30"},
    ),
    # 31 days before surgery, and 30: common practice, no source
    (
        "consent.explained-long-ago",
        {"talk.at": "2027-01-24T10:00:00+05:30"},
        {"talk.at": "2027-01-25T10:00:00+05:30"},
    ),
    # GMC, Decision making and consent, 2020, Reviewing decisions
    ("consent.plan-changed", {"talk.plan_changed_since": "yes"}, {"talk.plan_changed_since": "no"}),
    # Glaser 2020, doi:10.1177/0272989X19896348
    ("consent.no-teach-back", {"talk.teach_back_done": "no"}, {"talk.teach_back_done": "yes"}),
    ("consent.no-teach-back", {"talk.teach_back_done": "unknown"}, {}),
    # worse than 3/60 (logMAR 1.301), the limit of blindness in ICD-11 9D90: common practice, no source
    ("only-eye", {"other_eye.acuity": "3/61"}, {"other_eye.acuity": "3/60"}),
    ("only-eye", {"other_eye.acuity": "1.31 logMAR"}, {"other_eye.acuity": "1.30 logMAR"}),
    ("only-eye", {"other_eye.acuity": "CF"}, {"other_eye.acuity": "6/60"}),
    ("only-eye", {"other_eye.seeing": "no"}, {"other_eye.seeing": "unknown"}),
    ("only-eye", {"patient.what_matters": ["only good eye"]}, {"patient.what_matters": ["reading"]}),
    ("other-eye.complication", {"other_eye.complication": "yes"}, {"other_eye.complication": "unknown"}),
    # the pupil: common practice, no source
    ("pupil.small-for-hard-lens", HARD | {"eye.pupil_mm": 4.5}, HARD | {"eye.pupil_mm": 4.6}),
    ("pupil.small-for-hard-lens", BROWN | {"eye.pupil_mm": 4.5}, {"eye.pupil_mm": 4.5}),
    (
        "pupil.small-for-hard-lens",
        HARD | {"eye.pupil_mm": 3.0, "plan.pupil_expansion": "unknown"},
        HARD | {"eye.pupil_mm": 3.0, "plan.pupil_expansion": "yes"},
    ),
    ("pupil.very-small", {"eye.pupil_mm": 4.0}, {"eye.pupil_mm": 4.1}),
    (
        "pupil.very-small",
        {"eye.pupil_mm": 4.5, "health.alpha_blocker": {"ever": "yes", "drugs": ["tamsulosin"]}},
        {"eye.pupil_mm": 4.6, "health.alpha_blocker": {"ever": "yes", "drugs": ["tamsulosin"]}},
    ),
    (
        "pupil.very-small",
        {"eye.pupil_mm": 4.5, "eye.pseudoexfoliation": "yes"},
        {"eye.pupil_mm": 4.6, "eye.pseudoexfoliation": "yes"},
    ),
    (
        "pupil.very-small",
        {"eye.pupil_mm": 4.0},
        {"eye.pupil_mm": 4.5, "health.alpha_blocker": {"ever": "yes", "drugs": ["doxazosin"]}},
    ),
    ("pupil.very-small", {"eye.pupil_mm": 3.0}, {"eye.pupil_mm": 3.0, "plan.pupil_expansion": "yes"}),
    ("pupil.small-incision", BY_HAND | {"eye.pupil_mm": 5.9}, BY_HAND | {"eye.pupil_mm": 6.0}),
    ("pupil.small-incision", BY_HAND | {"eye.pupil_mm": 5.9}, HARD | {"eye.pupil_mm": 5.9}),
    # narendran-2009 takes the surgeon's own grade
    ("pupil.grade-missing", {"eye.pupil_grade": "unknown"}, {"eye.pupil_grade": "medium"}),
    ("nucleus.no-dye-or-other-operation", BROWN | {"plan.other_operation_considered": "no"}, BROWN),
    (
        "nucleus.no-dye-or-other-operation",
        {"eye.white": "yes", "plan.other_operation_considered": "no"},
        {"eye.white": "yes", "plan.other_operation_considered": "no", "plan.dye": "yes"},
    ),
    (
        "nucleus.no-dye-or-other-operation",
        BROWN | {"plan.other_operation_considered": "unknown"},
        HARD | {"plan.other_operation_considered": "unknown"},
    ),
    (
        "cornea.weak-with-hard-lens",
        HARD | {"eye.endothelial_cells_per_mm2": 1499},
        HARD | {"eye.endothelial_cells_per_mm2": 1500},
    ),
    ("cornea.weak-with-hard-lens", HARD | {"eye.guttata": "yes"}, {"eye.guttata": "yes"}),
    # aswin-2022
    ("polar", {"eye.posterior_polar": "yes"}, {"eye.posterior_polar": "unknown"}),
    (
        "zonule.loose-no-ring",
        {"eye.phacodonesis": "yes"},
        {"eye.phacodonesis": "yes", "plan.capsular_tension_ring": "yes"},
    ),
    (
        "zonule.loose-no-ring",
        {"eye.phacodonesis": "yes", "plan.capsular_tension_ring": "yes", "plan.fallback_lenses": []},
        {"eye.phacodonesis": "no", "plan.fallback_lenses": []},
    ),
    # Chatziralli 2011, Ophthalmology 118:730: ever taken counts, also without a name
    ("alpha-blocker", {"health.alpha_blocker.ever": "yes"}, {"health.alpha_blocker.ever": "unknown"}),
    # chu-2016: diabetes is not retinopathy
    (
        "diabetes.retinopathy-unknown",
        {"health.diabetes": "yes", "eye.retinopathy": "unknown"},
        {"health.diabetes": "yes", "eye.retinopathy": "none"},
    ),
    (
        "diabetes.retinopathy-unknown",
        {"health.diabetes": "yes", "eye.retinopathy": "unknown"},
        {"health.diabetes": "no", "eye.retinopathy": "unknown"},
    ),
    ("eye.pressure-high", {"eye.pressure_mmhg": 30.0}, {"eye.pressure_mmhg": 29.9}),
    ("eye.length-unusual", {"eye.axial_length_mm": 20.4}, {"eye.axial_length_mm": 20.5}),
    ("eye.length-unusual", {"eye.axial_length_mm": 30.1}, {"eye.axial_length_mm": 30.0}),
    # each further procedure is named in advance: Samira Kohli; the rest common practice, no source
    (
        "lens.no-agreed-fallback",
        {"plan.lens.on_shelf": "no", "plan.fallback_in_consent": "no"},
        {"plan.lens.on_shelf": "no", "plan.fallback_in_consent": "yes"},
    ),
    (
        "lens.no-agreed-fallback",
        {"plan.lens.on_shelf": "no", "plan.fallback_lenses": []},
        {"plan.lens.on_shelf": "yes", "plan.fallback_lenses": []},
    ),
    ("lens.not-on-shelf", {"plan.lens.on_shelf": "no"}, {"plan.lens.on_shelf": "yes"}),
    (
        "lens.single-piece-in-sulcus",
        {"plan.fallback_lenses": [lens("single-piece", "ciliary sulcus")]},
        {"plan.fallback_lenses": [lens("three-piece", "ciliary sulcus")]},
    ),
    ("lens.single-piece-in-sulcus", {"plan.lens.place": "ciliary sulcus"}, {"plan.lens.place": "capsular bag"}),
    (
        "lens.single-piece-in-sulcus",
        {"done": {"lens": lens("single-piece", "ciliary sulcus")}},
        {"done": {"lens": lens("single-piece", "capsular bag")}},
    ),
    (
        "lens.fallback-without-power",
        {"plan.fallback_lenses": [lens("three-piece"), lens("rigid", power_d=None)]},
        {"plan.fallback_lenses": [lens("three-piece"), lens("rigid")]},
    ),
    (
        "lens.fallback-without-power",
        {"plan.fallback_lenses": [lens("three-piece", a_constant=None)]},
        {"plan.fallback_lenses": []},
    ),
    ("lens.larger-wound-not-agreed", {"plan.extra_steps": ["stitch"]}, {"plan.extra_steps": ["larger incision"]}),
    (
        "lens.larger-wound-not-agreed",
        {"plan.extra_steps": [], "plan.fallback_lenses": [lens("rigid")]},
        {"plan.extra_steps": [], "plan.fallback_lenses": [lens("single-piece")]},
    ),
    ("lens.none-chosen", {"plan.lens": None}, {"plan.lens.power_d": None}),
    # the measurement: common practice, no source. 23.2 mm in this eye, 44.0 D
    ("measurement.eyes-differ", {"other_eye.axial_length_mm": 23.6}, {"other_eye.axial_length_mm": 23.4}),
    ("measurement.eyes-differ", {"other_eye.axial_length_mm": 22.8}, {"other_eye.axial_length_mm": 23.0}),
    (
        "measurement.eyes-differ",
        {"measurement.other_eye_corneal_power_d": 45.25},
        {"measurement.other_eye_corneal_power_d": 45.0},
    ),
    # 184 days before surgery, and 183
    ("measurement.old", {"measurement.on": "2026-08-24"}, {"measurement.on": "2026-08-25"}),
    ("measurement.target-far", {"other_eye.refraction_d": -3.0}, {"other_eye.refraction_d": -2.75}),
    ("measurement.target-far", {"other_eye.refraction_d": 2.5}, {"other_eye.refraction_d": 2.25}),
    # the anaesthetic: common practice, no source
    (
        "anaesthesia.needle-bleeding-or-long-eye",
        {"plan.anaesthesia": "retrobulbar", "health.anticoagulant": "yes"},
        {"plan.anaesthesia": "sub-Tenon", "health.anticoagulant": "yes"},
    ),
    (
        "anaesthesia.needle-bleeding-or-long-eye",
        {"plan.anaesthesia": "peribulbar", "eye.axial_length_mm": 26.0},
        {"plan.anaesthesia": "peribulbar", "eye.axial_length_mm": 25.9},
    ),
    ("anaesthesia.cannot-lie", {"health.can_lie_flat": "no"}, {"health.can_lie_flat": "unknown"}),
    (
        "anaesthesia.cannot-lie",
        {"health.can_lie_still": "no", "plan.anaesthesia": "topical"},
        {"health.can_lie_still": "no", "plan.anaesthesia": "general"},
    ),
    # fitness on the day: common practice, no source
    ("infection.lid-or-sac", {"eye.lid_infection": "yes"}, {"eye.lid_infection": "no"}),
    ("infection.lid-or-sac", {"fitness.tear_sac": "pus"}, {"fitness.tear_sac": "blocked, clear fluid"}),
    ("infection.sac-not-clear", {"fitness.tear_sac": "blocked, clear fluid"}, {"fitness.tear_sac": "clear"}),
    ("infection.sac-not-clear", {"fitness.tear_sac": "not examined"}, {"fitness.tear_sac": "pus"}),
    ("infection.elsewhere", {"fitness.fever": "yes"}, {"fitness.fever": "no"}),
    ("infection.elsewhere", {"fitness.infection_elsewhere": "yes"}, {"fitness.infection_elsewhere": "no"}),
    ("fitness.blood-pressure", {"fitness.systolic_mmhg": 180}, {"fitness.systolic_mmhg": 179}),
    ("fitness.blood-pressure", {"fitness.diastolic_mmhg": 110}, {"fitness.diastolic_mmhg": 109}),
    ("fitness.blood-pressure", {"fitness.systolic_mmhg": 180, "fitness.diastolic_mmhg": None}, {}),
    ("fitness.sugar-high", {"fitness.sugar_mg_dl": 250}, {"fitness.sugar_mg_dl": 249}),
    ("fitness.sugar-low", {"fitness.sugar_mg_dl": 69}, {"fitness.sugar_mg_dl": 70}),
    (
        "fitness.recent-heart-or-stroke",
        {"fitness.heart_attack_or_stroke_within_3_months": "yes"},
        {"fitness.heart_attack_or_stroke_within_3_months": "no"},
    ),
    # an unknown factor that could double the odds, and one that could not (sex): common practice, no source
    ("figures.no-single-figure", {"eye.pseudoexfoliation": "unknown"}, {"eye.pseudoexfoliation": "no"}),
    ("figures.no-single-figure", {"eye.pseudoexfoliation": "unknown"}, {"patient.sex": "unknown"}),
    # narendran-2009 describes phacoemulsification
    ("figures.outside-model", {"plan.operation": "manual small-incision"}, {"plan.operation": "phacoemulsification"}),
    ("figures.outside-model", {"eye.posterior_polar": "yes"}, {"eye.posterior_polar": "no"}),
    # the first day after surgery: common practice, no source
    ("after.pressure-high", {"day1.pressure_mmhg": 30.0}, {"day1.pressure_mmhg": 29.9}),
    ("after.pressure-high", {"day1.pressure_mmhg": 39.9}, {"day1.pressure_mmhg": 40.0}),
    ("after.pressure-very-high", {"day1.pressure_mmhg": 40.0}, {"day1.pressure_mmhg": 39.9}),
    ("after.leak-or-infection", {"day1.leak": "yes"}, {"day1.leak": "no"}),
    ("after.leak-or-infection", {"day1.hypopyon": "yes"}, {"day1.hypopyon": "no"}),
    ("after.poor-sight", {"day1.acuity_pinhole": "6/61"}, {"day1.acuity_pinhole": "6/60"}),
    (
        "after.poor-sight",
        {"day1.acuity_pinhole": "HM"},
        {"day1": {"acuity_pinhole": "HM", "poor_sight_explained": "yes"}},
    ),
    (
        "after.stitch-without-visit",
        {"done.stitches": 1},
        {"done.stitches": 1, "visits": [{"kind": "stitch", "date": "2027-04-01"}]},
    ),
    ("after.stitch-without-visit", {"done.stitches": 2}, {"done.stitches": 0}),
]

# These two cannot be fired or silenced by a change of the case alone: they have tests of their own below.
TESTED_APART = ("figures.not-read-in-primary", "completeness.must-unmet")

# Every threshold: the clinic's own value, and a change that is silent at the shipped value and fires at the clinic's.
OWN_THRESHOLDS: list[tuple[str, str, float, Changes]] = [
    ("consent.explained-long-ago", "days", 1, {}),  # the talk was 2 days before
    ("only-eye", "worse_than_logmar", 0.3, {}),  # 6/12 is 0.301
    ("pupil.small-for-hard-lens", "mm", 7.0, HARD),
    ("pupil.very-small", "mm", 7.0, {}),
    ("pupil.very-small", "mm_with_floppy_iris_or_exfoliation", 7.0, {"eye.pseudoexfoliation": "yes"}),
    ("pupil.small-incision", "mm", 7.1, BY_HAND),
    ("cornea.weak-with-hard-lens", "cells_per_mm2", 2000, HARD | {"eye.endothelial_cells_per_mm2": 1999}),
    ("eye.pressure-high", "mmhg", 15, {}),
    ("eye.length-unusual", "short_mm", 23.3, {}),
    ("eye.length-unusual", "long_mm", 23.1, {}),
    ("measurement.eyes-differ", "length_mm", 0.05, {}),
    ("measurement.eyes-differ", "corneal_power_d", 0.1, {}),
    ("measurement.old", "days", 13, {}),  # measured 14 days before
    ("measurement.target-far", "dioptres", 0.2, {}),
    ("anaesthesia.needle-bleeding-or-long-eye", "long_mm", 23.2, {"plan.anaesthesia": "peribulbar"}),
    ("fitness.blood-pressure", "systolic_mmhg", 132, {}),
    ("fitness.blood-pressure", "diastolic_mmhg", 82, {}),
    ("fitness.sugar-high", "mg_dl", 104, {}),
    ("fitness.sugar-low", "mg_dl", 105, {}),
    ("after.pressure-high", "mmhg", 20, {"day1.pressure_mmhg": 20.0}),
    ("after.pressure-high", "very_high_mmhg", 46, {"day1.pressure_mmhg": 45.0}),
    ("after.pressure-very-high", "mmhg", 20, {"day1.pressure_mmhg": 20.0}),
    ("after.poor-sight", "worse_than_logmar", 0.4, {"day1.acuity_pinhole": "6/18"}),
]


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
    assert set(PREDICATES) == set(rules()) - {"completeness.must-unmet"}


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
}


@pytest.mark.parametrize("tag", LANGUAGES)
def test_every_fact_of_the_rules_is_in_the_catalogue_with_its_slots(tag):
    messages = load_catalogue(tag).messages
    written = list(remarks_written_in_rules())
    assert len(written) > 60
    for text, slots, place in written:
        ids = [text + name for name in FAMILIES[text]] if text.endswith(".") else [text]
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
        form = consent_form(assess(case, clinic), Voice(("en",), "latin"))
        return completeness_points(completeness(profile(clinic.profile), case, form.anchors(), form.texts()))

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


def test_every_unknown_threshold_is_listed(make_case, make_clinic):
    clinic = make_clinic(
        {"points": {"polar": {"mm": 1}, "nothing": {"x": 1, "y": 2}, "eye.pressure-high": {"mmhg": 28}}}
    )
    with pytest.raises(ClinicError) as error:
        assess(make_case(), clinic)
    assert len(error.value.problems) == 3
