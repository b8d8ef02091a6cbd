"""Every check: a case that fires it, with its severity, and one that does not."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from typing import Any

import pytest

from consent.case import Case, Visit
from consent.case.model import Done
from consent.case.sourced import Verified
from consent.clinic import Clinic
from consent.drops import Finding, Start, check_drops, plan_drops
from consent.drops.checks import CHECKS
from consent.drops.grounds import mentions, read_checks
from consent.drops.limits import read_limits

Change = Callable[..., Case]
Parts = dict[str, dict[str, Any]]


def drug(generic: str, strength: str, drug_class: str, **changed: Any) -> dict[str, Any]:
    return {
        "components": [{"generic": generic, "strength": strength, "class": drug_class}],
        "form": "solution",
        "shake": False,
        "bottle_ml": 5.0,
        "preservative": "none",
        "source": "invented",
        "verified": "memory",
        **changed,
    }


FORMULARY = {
    "latanoprost": drug("latanoprost", "0.005%", "prostaglandin"),
    "dorzolamide": drug("dorzolamide", "2%", "carbonic anhydrase inhibitor"),
    "sulfacetamide": drug("sulfacetamide", "10%", "other antibiotic"),
    "betaxolol": drug("betaxolol", "0.5%", "beta-blocker"),
    "pranoprofen": drug("pranoprofen", "0.1%", "nsaid"),
    "tears": drug("hypromellose", "0.3%", "lubricant"),
}


def item(name: str, *steps: tuple[int, int, int], **more: Any) -> dict[str, Any]:
    rows = [{"from_day": a, "days": b, "times_a_day": c} for a, b, c in steps or ((1, 7, 2),)]
    return {"drug": name, "ends": "until review", "steps": rows, "source": "invented", "verified": "memory", **more}


def findings(
    check_id: str,
    clinic: Clinic,
    case: Case,
    change: Change,
    items: list[dict[str, Any]],
    parts: Parts,
    start: Start | None = None,
    **aftercare: Any,
) -> list[Finding]:
    """The findings with ``check_id`` on the ordinary case with ``parts`` changed and ``items`` as its regimen."""
    regimen = {"own": {"title": "own", "items": items} if items else {"title": "own", "drop_free": True, **NOTHING}}
    own = clinic.model_copy(
        update={
            "formulary": FORMULARY,
            "regimens": regimen,
            "aftercare": clinic.aftercare.model_copy(update=aftercare),
        }
    )
    case = change(case, **{**parts, "plan": {**parts.get("plan", {}), "regimen": "own"}})
    return [f for f in check_drops(plan_drops(case, own, start), case) if f.id == check_id]


NOTHING = {"source": "invented", "verified": "memory"}
MOXI = [item("moxifloxacin", (1, 7, 4))]
NSAID = [item("nepafenac", (1, 14, 3))]
LONG_NSAID = [item("nepafenac", (1, 15, 3))]
SHORT_STEROID = [item("loteprednol", (1, 14, 4))]
LONG_STEROID = [item("loteprednol", (1, 15, 4))]
TIMOLOL = [item("timolol")]
PROSTAGLANDIN = [item("latanoprost")]
CAI = [item("dorzolamide")]
WIDE = [item("homatropine")]


def allergic(substance: str, **more: Any) -> Parts:
    return {"health": {"allergies": {"asked": "known", "known": [{"substance": substance, **more}]}}}


def health(**answers: str) -> Parts:
    return {"health": dict(answers)}


def eye(**answers: Any) -> Parts:
    return {"eye": dict(answers)}


def lens_in(place: str) -> dict[str, Any]:
    return {"lens": {"design": "three-piece", "material": "acrylic", "place": place}}


FIRES: list[tuple[str, list[dict[str, Any]], Parts, str]] = [
    ("side-disagrees", MOXI, {"plan": {"side": "right"}}, "stop"),
    ("allergies-not-asked", MOXI, {"health": {"allergies": {"asked": "not asked"}}}, "ask"),
    ("allergy-to-this-drug", LONG_STEROID, allergic("Loteprednol drops"), "stop"),
    ("allergy-to-this-drug", [item("prednisolone-acetate")], allergic("prednisolone"), "stop"),
    ("allergy-to-this-drug", [item("levofloxacin-dexamethasone")], allergic("dexamethasone tablets"), "stop"),
    ("allergy-quinolone", MOXI, allergic("ofloxacin"), "stop"),
    ("allergy-quinolone", MOXI, allergic("Moxifloxacin"), "stop"),
    ("allergy-quinolone", [item("levofloxacin-dexamethasone")], allergic("a quinolone"), "stop"),
    ("allergy-same-class", LONG_STEROID, allergic("dexamethasone"), "ask"),
    ("allergy-same-class", [item("chloramphenicol-ointment")], allergic("neomycin"), "ask"),
    ("allergy-preservative", SHORT_STEROID, allergic("benzalkonium chloride"), "stop"),
    ("allergy-preservative", MOXI, allergic("BAK"), "ask"),
    ("allergy-sulfonamide", CAI, allergic("sulfa tablets", reaction="rash"), "ask"),
    ("allergy-sulfonamide", CAI, allergic("sulfa tablets", severe="yes"), "stop"),
    ("allergy-sulfonamide", CAI, allergic("co-trimoxazole", reaction="Stevens-Johnson"), "stop"),
    ("allergy-sulfonamide", [item("sulfacetamide")], allergic("sulpha"), "stop"),
    ("allergy-not-recognised", MOXI, allergic("some red eye drop"), "ask"),
    ("allergy-not-recognised", MOXI, allergic("an antibiotic, name not known"), "ask"),
    ("nsaid-sensitivity", NSAID, health(aspirin_wheeze_or_polyps="yes"), "stop"),
    ("nsaid-sensitivity", NSAID, health(aspirin_wheeze_or_polyps="unknown"), "ask"),
    ("nsaid-sensitivity", NSAID, allergic("diclofenac"), "stop"),
    ("nsaid-sensitivity", [item("pranoprofen")], allergic("pranoprofen"), "stop"),
    ("nsaid-asthma", NSAID, health(asthma="yes"), "ask"),
    ("nsaid-asthma", NSAID, health(asthma="unknown"), "note"),
    ("nsaid-over-14-days", LONG_NSAID, {}, "ask"),
    ("nsaid-over-14-days", [item("nepafenac", (1, 15, 3), reason="diabetic macular oedema")], {}, "note"),
    ("nsaid-over-14-days", [item("nepafenac", (-2, 5, 3))], {}, "ask"),
    ("nsaid-surface-disease", NSAID, eye(surface_disease="yes"), "ask"),
    ("nsaid-surface-disease", NSAID, eye(surface_disease="unknown"), "note"),
    ("nsaid-diabetes", NSAID, health(diabetes="yes"), "ask"),
    ("nsaid-diabetes", NSAID, health(diabetes="unknown"), "note"),
    ("nsaid-connective-tissue", NSAID, health(connective_tissue_disease="yes"), "ask"),
    ("nsaid-with-steroid", [*NSAID, *SHORT_STEROID], {}, "note"),
    ("nsaid-anticoagulant", NSAID, health(anticoagulant="yes"), "ask"),
    ("steroid-without-pressure-visit", LONG_STEROID, {"visits": {}}, "ask"),
    ("steroid-responder-visits", LONG_STEROID, eye(steroid_response_self="yes"), "ask"),
    ("steroid-responder-visits", LONG_STEROID, eye(steroid_response_family="yes"), "ask"),
    ("steroid-responder-visits", LONG_STEROID, eye(glaucoma="open angle"), "ask"),
    ("steroid-responder-visits", LONG_STEROID, eye(axial_length_mm=26.0), "ask"),
    ("steroid-responder-visits", LONG_STEROID, {"patient": {"birth_date": "1977-02-25"}}, "ask"),
    ("steroid-responder-visits", SHORT_STEROID, {**eye(axial_length_mm=26.0), "visits": {}}, "ask"),
    ("steroid-response-not-asked", LONG_STEROID, eye(steroid_response_self="unknown"), "note"),
    ("steroid-response-not-asked", LONG_STEROID, eye(axial_length_mm=None), "note"),
    ("steroid-herpes", SHORT_STEROID, eye(herpes_keratitis="active"), "stop"),
    ("steroid-herpes", SHORT_STEROID, eye(herpes_keratitis="past"), "ask"),
    ("steroid-herpes", SHORT_STEROID, eye(herpes_keratitis="unknown"), "ask"),
    ("duplicate-class", [item("levofloxacin-dexamethasone"), *MOXI], {}, "stop"),
    ("duplicate-class", [item("timolol"), item("betaxolol", (7, 2, 2))], {}, "stop"),
    ("antibiotic-tapered", [item("levofloxacin-dexamethasone", (1, 7, 4), (8, 7, 2))], {}, "ask"),
    ("beta-blocker-heart-or-lungs", TIMOLOL, health(asthma="yes"), "stop"),
    ("beta-blocker-heart-or-lungs", TIMOLOL, health(copd="yes"), "stop"),
    ("beta-blocker-heart-or-lungs", TIMOLOL, health(heart_block_or_slow_pulse="yes"), "stop"),
    ("beta-blocker-heart-or-lungs", TIMOLOL, health(heart_failure="yes", asthma="unknown"), "stop"),
    ("beta-blocker-heart-or-lungs", TIMOLOL, health(copd="unknown"), "ask"),
    ("beta-blocker-heart-or-lungs", [item("timolol", eyes="other")], health(copd="yes"), "stop"),
    ("beta-blocker-by-mouth", TIMOLOL, {"health": {"medicines": ["Atenolol 50 mg"]}}, "ask"),
    ("prostaglandin-macular-oedema", PROSTAGLANDIN, eye(macular_oedema="yes"), "ask"),
    ("prostaglandin-macular-oedema", PROSTAGLANDIN, eye(retinopathy="severe"), "ask"),
    ("prostaglandin-macular-oedema", PROSTAGLANDIN, {"done": {"vitreous_lost": "yes"}}, "ask"),
    ("prostaglandin-macular-oedema", PROSTAGLANDIN, eye(retinopathy="unknown"), "note"),
    ("cycloplegic-narrow-angle", WIDE, eye(glaucoma="angle closure"), "stop"),
    ("cycloplegic-narrow-angle", WIDE, eye(glaucoma="unknown"), "ask"),
    ("cycloplegic-narrow-angle", WIDE, eye(chamber_depth_mm=2.4), "ask"),
    ("cycloplegic-lens-not-in-bag", WIDE, {"done": lens_in("ciliary sulcus")}, "ask"),
    ("carbonic-anhydrase-inhibitor-kidney", CAI, health(kidney_disease="yes"), "ask"),
    ("pregnancy", MOXI, health(pregnant="yes"), "ask"),
    ("pregnancy", CAI, health(pregnant="yes"), "stop"),
    ("pregnancy", MOXI, {**health(pregnant="unknown"), "patient": {"birth_date": "1973-02-24"}}, "note"),
    ("breastfeeding", MOXI, health(breastfeeding="yes"), "ask"),
    ("own-glaucoma-drop-missing", MOXI, eye(glaucoma_drops=["timolol 0.5%"]), "ask"),
    ("own-glaucoma-drop-missing", [item("timolol", eyes="other")], eye(glaucoma_drops=["timolol 0.5%"]), "ask"),
    (
        "long-session",
        [item(name) for name in ("moxifloxacin", "loteprednol", "nepafenac", "timolol", "homatropine", "tears")],
        {},
        "note",
    ),
]

SILENT: list[tuple[str, list[dict[str, Any]], Parts]] = [
    ("side-disagrees", MOXI, {}),
    ("allergies-not-asked", MOXI, {"health": {"allergies": {"asked": "none"}}}),
    ("allergies-not-asked", [], {"health": {"allergies": {"asked": "not asked"}}}),
    ("allergy-to-this-drug", LONG_STEROID, allergic("penicillin")),
    ("allergy-to-this-drug", LONG_STEROID, allergic("some acetate")),
    ("allergy-to-this-drug", MOXI, allergic("moxifloxacin")),  # its class has a check of its own
    ("allergy-quinolone", MOXI, allergic("penicillin")),
    ("allergy-quinolone", LONG_STEROID, allergic("ofloxacin")),
    ("allergy-same-class", LONG_STEROID, allergic("loteprednol")),
    ("allergy-same-class", MOXI, allergic("dexamethasone")),
    ("allergy-preservative", [item("tears")], allergic("benzalkonium chloride")),
    ("allergy-sulfonamide", MOXI, allergic("sulfa tablets")),
    ("allergy-not-recognised", MOXI, allergic("peanuts")),
    ("allergy-not-recognised", MOXI, allergic("penicillin")),
    ("nsaid-sensitivity", NSAID, health(aspirin_wheeze_or_polyps="no")),
    ("nsaid-sensitivity", MOXI, health(aspirin_wheeze_or_polyps="yes")),
    ("nsaid-asthma", NSAID, health(asthma="no")),
    ("nsaid-over-14-days", NSAID, {}),
    ("nsaid-over-14-days", [item("nepafenac", (-1, 16, 3))], {}),  # day -1 to day 14
    ("nsaid-surface-disease", NSAID, {}),
    ("nsaid-surface-disease", [item("nepafenac", eyes="other")], eye(surface_disease="yes")),
    ("nsaid-diabetes", NSAID, {}),
    ("nsaid-connective-tissue", NSAID, {}),
    ("nsaid-with-steroid", [*NSAID, item("loteprednol", (15, 7, 2))], {}),
    ("nsaid-with-steroid", [*NSAID, item("loteprednol", eyes="other")], {}),
    ("nsaid-anticoagulant", NSAID, {}),
    ("steroid-without-pressure-visit", LONG_STEROID, {}),
    ("steroid-without-pressure-visit", SHORT_STEROID, {"visits": {}}),
    ("steroid-without-pressure-visit", [item("levofloxacin-dexamethasone"), item("loteprednol", (8, 7, 4))], {}),
    ("steroid-responder-visits", LONG_STEROID, eye(axial_length_mm=25.9)),
    ("steroid-responder-visits", LONG_STEROID, {"patient": {"birth_date": "1977-02-24"}}),  # 50 on the day of surgery
    ("steroid-responder-visits", SHORT_STEROID, eye(axial_length_mm=26.0)),  # the visit of day 19 is enough
    ("steroid-responder-visits", MOXI, eye(steroid_response_self="yes")),
    ("steroid-response-not-asked", LONG_STEROID, {}),
    ("steroid-response-not-asked", SHORT_STEROID, eye(steroid_response_self="unknown")),
    ("steroid-herpes", SHORT_STEROID, eye(herpes_keratitis="never")),
    ("steroid-herpes", MOXI, eye(herpes_keratitis="active")),
    ("duplicate-class", [*MOXI, *LONG_STEROID, *NSAID, *WIDE], {}),
    ("duplicate-class", [item("timolol"), item("betaxolol", eyes="other")], {}),
    ("duplicate-class", [item("timolol"), item("betaxolol", (8, 2, 2))], {}),
    ("antibiotic-tapered", [item("loteprednol", (1, 7, 4), (8, 7, 2)), *MOXI], {}),
    ("beta-blocker-heart-or-lungs", TIMOLOL, {}),
    ("beta-blocker-heart-or-lungs", MOXI, health(copd="yes")),
    ("beta-blocker-by-mouth", TIMOLOL, {"health": {"medicines": ["metformin"]}}),
    ("prostaglandin-macular-oedema", PROSTAGLANDIN, {"done": {"vitreous_lost": "no"}}),
    ("prostaglandin-macular-oedema", [item("latanoprost", eyes="other")], eye(macular_oedema="yes")),
    ("cycloplegic-narrow-angle", WIDE, eye(chamber_depth_mm=2.5)),
    ("cycloplegic-narrow-angle", MOXI, eye(glaucoma="angle closure")),
    ("cycloplegic-lens-not-in-bag", WIDE, {"done": lens_in("capsular bag")}),
    ("cycloplegic-lens-not-in-bag", WIDE, {}),
    ("carbonic-anhydrase-inhibitor-kidney", CAI, {}),
    ("pregnancy", MOXI, {}),
    ("pregnancy", MOXI, health(pregnant="unknown")),  # 65 years
    ("breastfeeding", MOXI, {}),
    ("own-glaucoma-drop-missing", TIMOLOL, eye(glaucoma_drops=["Timolol 0.5% twice a day"])),
    (
        "long-session",
        [item(name) for name in ("moxifloxacin", "loteprednol", "nepafenac", "timolol", "homatropine")],
        {},
    ),
]


def apply(parts: Parts) -> Parts:
    """``visits`` and ``done`` are not tables of the shipped case: they are put in by hand."""
    return {name: keys for name, keys in parts.items() if name not in ("visits", "done")}


def with_lists(case: Case, parts: Parts, change: Change) -> Case:
    case = change(case, **apply(parts))
    if "visits" in parts:
        case = case.model_copy(update={"visits": ()})
    if "done" in parts:
        case = case.model_copy(update={"done": Done.model_validate_json(json.dumps(parts["done"]))})
    return case


@pytest.mark.parametrize(("check_id", "items", "parts", "severity"), FIRES)
def test_fires(
    check_id: str,
    items: list[dict[str, Any]],
    parts: Parts,
    severity: str,
    clinic: Clinic,
    ordinary: Case,
    change: Change,
) -> None:
    """The check answers, once, with its severity, its facts and a severity its ground allows."""
    found = findings(check_id, clinic, with_lists(ordinary, parts, change), change, items, {})
    assert [finding.severity for finding in found] == [severity]
    assert found[0].facts
    assert found[0].severity in found[0].ground.severities


@pytest.mark.parametrize(("check_id", "items", "parts"), SILENT)
def test_stays_silent(
    check_id: str, items: list[dict[str, Any]], parts: Parts, clinic: Clinic, ordinary: Case, change: Change
) -> None:
    """The check has nothing to say."""
    assert findings(check_id, clinic, with_lists(ordinary, parts, change), change, items, {}) == []


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
            assert fired <= set(ground.severities)
        if ground.verified is Verified.PRACTICE:
            assert "common practice" in ground.source or "no" in ground.source


def test_gravest_first(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Stops, then asks, then notes."""
    case = change(ordinary, eye={"herpes_keratitis": "active", "steroid_response_self": "unknown"})
    case = case.model_copy(update={"visits": ()})
    found = [finding.severity for finding in check_drops(plan_drops(case, clinic), case)]
    assert found == ["stop", "ask", "note"]


def test_shipped_cases(clinic: Clinic, ordinary: Case, hard: Case) -> None:
    """An ordinary eye has no finding; the hard one only a note that nobody knows how it answers steroids."""
    assert check_drops(plan_drops(ordinary, clinic), ordinary) == ()
    (note,) = check_drops(plan_drops(hard, clinic), hard)
    assert (note.id, note.severity, note.rows) == ("steroid-response-not-asked", "note", (2,))


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
