"""Situations, each with a case that fires it and one that does not; and the order in which regimens are put forward."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from consent.case import Case
from consent.clinic import Clinic
from consent.drops import DrugClass, read_formulary
from consent.drops.proposal import Candidate, Proposal, propose
from consent.drops.situations import Situation, SituationTexts, read_situations, situations_of

Change = Callable[..., Case]
Parts = dict[str, dict[str, Any]]


def eye(**answers: Any) -> Parts:
    return {"eye": dict(answers)}


def nucleus(grade: str, **more: Any) -> Parts:
    return eye(nucleus={"grade": grade}, **more)


def done(**keys: Any) -> Parts:
    return {"done": dict(keys)}


def lens_in(place: str) -> Parts:
    return done(lens={"design": "three-piece", "material": "acrylic", "place": place})


NOBODY: Parts = {"patient": {"drops_given_by": "nobody", "drops_helper": None}}
YOUNG: Parts = {"patient": {"birth_date": "1980-01-01"}}  # 47 on the day of surgery


def altered(case: Case, parts: Parts, change: Change) -> Case:
    """``case`` with ``parts`` changed; ``done`` is not a table of the shipped case."""
    after = {"done": {"as_planned": "unknown", **parts["done"]}} if "done" in parts else {}
    blank = case.model_copy(update={"done": None})
    data = {name: keys for name, keys in parts.items() if name != "done"}
    changed = change(blank, **data)
    if not after:
        return changed
    return Case.model_validate({**changed.model_dump(by_alias=True), **after}, strict=False)


HOLDS: list[tuple[str, Parts, tuple[str, ...]]] = [
    ("hard-nucleus", nucleus("hard"), ("nucleus: hard",)),
    ("hard-nucleus", nucleus("brunescent"), ("nucleus: brunescent",)),
    ("corneal-swelling-expected", eye(guttata="yes"), ("guttata",)),
    ("corneal-swelling-expected", eye(endothelial_cells_per_mm2=999), ("999 endothelial cells per mm2",)),
    (
        "corneal-swelling-expected",
        nucleus("hard", endothelial_cells_per_mm2=1999),
        ("1999 endothelial cells per mm2", "nucleus: hard"),
    ),
    ("torn-capsule", done(vitreous_lost="yes"), ("vitreous lost",)),
    ("torn-capsule", done(piece_retained="yes"), ("piece retained",)),
    ("torn-capsule", lens_in("ciliary sulcus"), ("lens: ciliary sulcus",)),
    ("diabetes", {"health": {"diabetes": "yes"}}, ("diabetes",)),
    ("diabetic-retinopathy", eye(retinopathy="mild"), ("diabetic retinopathy: mild",)),
    ("macular-oedema-risk", eye(uveitis="yes"), ("uveitis",)),
    ("macular-oedema-risk", eye(vein_occlusion="yes"), ("vein occlusion",)),
    ("macular-oedema-risk", eye(epiretinal_membrane="yes"), ("epiretinal membrane",)),
    ("macular-oedema-risk", eye(macular_oedema="yes"), ("macular oedema",)),
    ("steroid-response-risk", eye(steroid_response_self="yes"), ("pressure rose on steroid drops before",)),
    (
        "steroid-response-risk",
        eye(steroid_response_family="yes"),
        ("pressure rose on steroid drops in a close relative",),
    ),
    ("steroid-response-risk", eye(glaucoma="open angle"), ("glaucoma: open angle",)),
    ("steroid-response-risk", {**eye(axial_length_mm=26.0), **YOUNG}, ("axial length 26.0 mm", "age 47 years")),
    ("surface-disease", eye(surface_disease="yes"), ("diseased surface",)),
    ("inflamed-eye", eye(uveitis="yes"), ("uveitis",)),
    ("device-used", {"plan": {"pupil_expansion": "yes"}}, ("pupil device planned",)),
    ("device-used", done(devices=("iris hooks",)), ("device: iris hooks",)),
    ("small-incision", {"plan": {"operation": "manual small-incision"}}, ("operation: manual small-incision",)),
    ("nobody-gives-drops", NOBODY, ("drops given by: nobody",)),
]

DOES_NOT: list[tuple[str, Parts]] = [
    ("hard-nucleus", nucleus("medium")),
    ("hard-nucleus", nucleus("unknown")),
    ("corneal-swelling-expected", eye(guttata="unknown", endothelial_cells_per_mm2=None)),
    ("corneal-swelling-expected", eye(endothelial_cells_per_mm2=1000)),
    ("corneal-swelling-expected", nucleus("hard", endothelial_cells_per_mm2=2000)),
    ("torn-capsule", {}),
    ("torn-capsule", lens_in("capsular bag")),
    ("torn-capsule", done(vitreous_lost="unknown")),
    ("diabetes", {"health": {"diabetes": "unknown"}}),
    ("diabetic-retinopathy", eye(retinopathy="unknown")),
    ("diabetic-retinopathy", {"health": {"diabetes": "yes"}}),
    ("macular-oedema-risk", eye(uveitis="unknown", macular_oedema="unknown")),
    ("steroid-response-risk", eye(steroid_response_self="unknown", glaucoma="unknown")),
    ("steroid-response-risk", eye(axial_length_mm=29.0)),  # long, but 65 years old
    ("steroid-response-risk", {**eye(axial_length_mm=25.9), **YOUNG}),
    ("surface-disease", eye(surface_disease="unknown")),
    ("inflamed-eye", eye(uveitis="no", macular_oedema="yes")),
    ("device-used", {"plan": {"pupil_expansion": "yes"}, **done(devices=())}),  # planned, then not used
    ("small-incision", {"plan": {"operation": "extracapsular"}}),
    ("nobody-gives-drops", {"patient": {"drops_given_by": "unknown", "drops_helper": None}}),
]


@pytest.mark.parametrize(("situation", "parts", "facts"), HOLDS)
def test_situation_holds(situation: str, parts: Parts, facts: tuple[str, ...], ordinary: Case, change: Change) -> None:
    """The situation is found, with the facts that make it true."""
    assert situations_of(altered(ordinary, parts, change))[Situation(situation)] == facts


@pytest.mark.parametrize(("situation", "parts"), DOES_NOT)
def test_situation_does_not_hold(situation: str, parts: Parts, ordinary: Case, change: Change) -> None:
    """A no, an unknown or the other side of a limit."""
    assert Situation(situation) not in situations_of(altered(ordinary, parts, change))


def test_ordinary_case_is_in_no_situation(ordinary: Case) -> None:
    """The shipped ordinary case asks for nothing special."""
    assert situations_of(ordinary) == {}


def test_every_situation_is_tried_and_grounded() -> None:
    """A predicate without a test, or a situation without a ground, cannot be shipped."""
    assert {Situation(situation) for situation, *_ in HOLDS} == set(Situation)
    assert {Situation(situation) for situation, *_ in DOES_NOT} == set(Situation)
    texts = read_situations()
    assert set(texts.situations) == set(Situation)
    with pytest.raises(ValueError, match="without a ground: diabetes"):
        SituationTexts.model_validate(
            {
                **texts.model_dump(by_alias=True),
                "situations": {key: value for key, value in texts.situations.items() if key is not Situation.DIABETES},
            }
        )


def test_limits_of_endothelial_cells() -> None:
    """Series of eyes below 1000 per mm2 (bullous keratopathy in 9 of 61 eyes); Chen et al, J Clin Med 2021;10:2270
    (markedly low below 1000, mildly low 1000 to 2000)."""
    texts = read_situations()
    assert (texts.low_cells.value, texts.low_cells_hard_nucleus.value) == (1000, 2000)


def ids(proposal: Proposal) -> list[str]:
    return [candidate.regimen.id for candidate in proposal.candidates]


def of(proposal: Proposal, regimen: str) -> Candidate:
    return next(candidate for candidate in proposal.candidates if candidate.regimen.id == regimen)


@pytest.mark.parametrize(
    ("parts", "chosen"),
    [
        ({}, "weekly-4-3-2-1"),
        (nucleus("hard"), "two-hourly-start"),
        (eye(guttata="yes"), "swollen-cornea"),
        (nucleus("hard", endothelial_cells_per_mm2=900), "two-hourly-start"),  # two reasons against one
        (done(vitreous_lost="yes"), "after-torn-capsule"),
        ({"health": {"diabetes": "yes"}}, "diabetes-nsaid"),
        ({"health": {"diabetes": "yes"}, **eye(retinopathy="moderate")}, "diabetes-nsaid-60-days"),
        (eye(epiretinal_membrane="yes"), "dexamethasone-bromfenac"),
        (eye(steroid_response_self="yes"), "loteprednol-two-weeks"),
        (eye(surface_disease="yes"), "few-unpreserved-drops"),
        (eye(uveitis="yes"), "two-hourly-start"),
        ({"plan": {"operation": "manual small-incision"}}, "weekly-6-5-4-3-2-1"),
        (NOBODY, "drop-free"),
    ],
)
def test_chosen(parts: Parts, chosen: str, clinic: Clinic, ordinary: Case, change: Change) -> None:
    """What a patient has asks for the regimen made for it; nothing special, for the clinic's own."""
    proposal = propose(altered(ordinary, parts, change), clinic)
    assert proposal.chosen == chosen == ids(proposal)[0]


def test_reasons_carry_the_facts(clinic: Clinic, hard: Case) -> None:
    """The shipped hard case: a brunescent nucleus and diabetes, one regimen for each."""
    proposal = propose(hard, clinic)
    assert proposal.chosen == "two-hourly-start"
    assert [(r.situation, r.facts) for r in of(proposal, "two-hourly-start").reasons] == [
        (Situation.HARD_NUCLEUS, ("nucleus: brunescent",))
    ]
    nsaid = of(proposal, "diabetes-nsaid")
    assert [r.situation for r in nsaid.reasons] == [Situation.DIABETES]
    assert [(f.id, f.severity) for f in nsaid.against] == [("nsaid-diabetes", "ask"), ("nsaid-anticoagulant", "ask")]


def test_fewer_asks_come_first(clinic: Clinic, hard: Case, change: Change) -> None:
    """One reason each; the NSAID asks for diabetes and blood thinner, the pupil drop for prostate and angle."""
    order = ids(propose(hard, clinic))
    assert order.index("two-hourly-start") < order.index("diabetes-nsaid")
    shallow = propose(change(hard, eye={"chamber_depth_mm": 2.4}, plan={"regimen": None}), clinic)
    assert of(shallow, "two-hourly-start").asks == of(shallow, "diabetes-nsaid").asks == 2
    closed = propose(change(hard, eye={"glaucoma": "angle closure"}), clinic)
    assert [f.id for f in of(closed, "two-hourly-start").stops] == ["cycloplegic-narrow-angle"]
    assert closed.chosen != "two-hourly-start"


def test_a_stop_is_never_proposed(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Known wheeze with aspirin: the NSAID made for diabetics is last, though its reason holds."""
    wheezing = change(ordinary, health={"diabetes": "yes", "aspirin_wheeze_or_polyps": "yes"})
    proposal = propose(wheezing, clinic)
    assert proposal.chosen == "weekly-4-3-2-1"
    stopped = {candidate.regimen.id for candidate in proposal.candidates if candidate.stops}
    assert {"diabetes-nsaid", "diabetes-nsaid-60-days", "nsaid-no-steroid"} <= stopped
    assert set(ids(proposal)[-len(stopped) :]) == stopped


def test_made_for_others_is_never_proposed(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Allergic to quinolones: one combination without is left. Drop-free has no stop either, but is for others.

    The published drop-free mixture holds moxifloxacin (Bardoloi et al, Indian J Ophthalmol 2020;68:1081-1085).
    """
    allergic = {"allergies": {"asked": "known", "known": [{"substance": "ofloxacin", "reaction": "rash"}]}}
    case = change(ordinary, health=allergic)
    assert propose(case, clinic).chosen == "tobramycin-dexamethasone"
    own = {"tobramycin-dexamethasone": {"title": "ours", "items": [item("moxifloxacin")]}}
    proposal = propose(case, clinic.model_copy(update={"regimens": own}))
    assert proposal.chosen is None
    assert ids(proposal)[0] == "drop-free"
    assert not of(proposal, "drop-free").may_be_proposed


def test_made_for_others_comes_after_asks(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Herpes in the past asks about every steroid; the regimen without one is made for eyes whose pressure rises."""
    proposal = propose(change(ordinary, eye={"herpes_keratitis": "past"}), clinic)
    assert of(proposal, "weekly-4-3-2-1").asks == 1
    assert of(proposal, "nsaid-no-steroid").asks == 0
    assert proposal.chosen == "weekly-4-3-2-1"
    others = [candidate.for_others for candidate in proposal.candidates]
    assert others == sorted(others)


def test_unsuited_is_never_proposed(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Bardoloi et al 2020 left out eyes with glaucoma and known responders: no steroid depot for them."""
    case = altered(ordinary, {**NOBODY, **eye(glaucoma="open angle")}, change)
    proposal = propose(case, clinic)
    drop_free = of(proposal, "drop-free")
    assert [r.situation for r in drop_free.reasons] == [Situation.NOBODY_GIVES_DROPS]
    assert [r.situation for r in drop_free.unsuited] == [Situation.STEROID_RESPONSE_RISK]
    assert not drop_free.may_be_proposed
    assert proposal.chosen == "loteprednol-two-weeks"
    assert ids(proposal)[-1] == "drop-free"


def test_what_does_not_tell_apart_is_left_out(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Allergies not asked, breastfeeding and two eyes written differently stand against every regimen alike."""
    case = change(
        ordinary, health={"allergies": {"asked": "not asked"}, "breastfeeding": "yes"}, plan={"side": "right"}
    )
    proposal = propose(case, clinic)
    assert all(candidate.asks == 0 and not candidate.stops for candidate in proposal.candidates)
    assert proposal.chosen == "weekly-4-3-2-1"


def test_a_stop_on_a_long_standing_drop_is_not_held_against_regimens(
    clinic: Clinic, ordinary: Case, change: Change
) -> None:
    """Timolol that an asthmatic has long used is a matter of its own; an NSAID for her is not."""
    drop = {"drug": "timolol", "eyes": "right", "times_a_day": 2, "decision": "continue"}
    case = change(ordinary, health={"asthma": "yes"})
    case = Case.model_validate({**case.model_dump(by_alias=True), "own_drops": [drop]}, strict=False)
    proposal = propose(case, clinic)
    assert proposal.chosen == "weekly-4-3-2-1"
    assert of(proposal, "weekly-4-3-2-1").against == ()
    assert [f.id for f in of(proposal, "diabetes-nsaid").against] == ["nsaid-asthma"]


def test_a_visit_not_yet_booked_does_not_unseat_the_clinic_s_own(clinic: Clinic, ordinary: Case) -> None:
    """Longer courses ask for a pressure visit: told, but not counted, or two weeks would always win."""
    proposal = propose(ordinary.model_copy(update={"visits": ()}), clinic)
    assert [f.id for f in of(proposal, "weekly-4-3-2-1").against] == ["steroid-without-pressure-visit"]
    assert of(proposal, "two-weeks-flat").against == ()
    assert proposal.chosen == "weekly-4-3-2-1"


def test_responder_without_visits(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Both are made for the eye at risk; without a pressure visit the steroid asks, the NSAID does not."""
    case = change(ordinary, eye={"steroid_response_self": "yes"}).model_copy(update={"visits": ()})
    assert ids(propose(case, clinic))[:2] == ["nsaid-no-steroid", "loteprednol-two-weeks"]


def test_the_clinic_s_own_comes_first_of_its_equals(clinic: Clinic, ordinary: Case) -> None:
    """Among regimens for everybody the clinic's; a special one counts as for everybody where the clinic says so."""
    for regimen in ("two-weeks-flat", "weekly-6-5-4-3-2-1"):
        own = clinic.model_copy(update={"drops": clinic.drops.model_copy(update={"regimen": regimen})})
        assert propose(ordinary, own).chosen == regimen
    plain = [id_ for id_ in ids(propose(ordinary, clinic)) if not of(propose(ordinary, clinic), id_).for_others]
    assert plain == [
        "weekly-4-3-2-1",
        "dexamethasone-4-3-2-1",
        "two-weeks-flat",
        "tobramycin-dexamethasone",
        "prednisolone-3-3-2-2",
        "difluprednate-4-2",
    ]


def item(drug: str) -> dict[str, Any]:
    step = {"from_day": 1, "days": 7, "times_a_day": 4}
    return {"drug": drug, "steps": [step], "source": "invented", "verified": "memory"}


def test_a_clinic_s_regimen_takes_part(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Its situations are read like those of the shipped ones, and it wins with more of them."""
    own = {
        "ours": {
            "title": "ours",
            "suits": ["diabetes", "surface-disease"],
            "source": "invented",
            "verified": "memory",
            "items": [item("loteprednol")],
        }
    }
    case = change(ordinary, health={"diabetes": "yes"}, eye={"surface_disease": "yes"})
    assert propose(case, clinic.model_copy(update={"regimens": own})).chosen == "ours"


def test_a_plan_that_cannot_be_made_is_last(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Sixteen doses do not fit a short day: listed last, with the reason, and the others are unharmed."""
    often = {**item("loteprednol"), "steps": [{"from_day": 1, "days": 7, "times_a_day": 16}]}
    own = {"hourly": {"title": "hourly", "items": [often]}}
    case = change(ordinary, patient={"waking_from": "10:00:00", "waking_to": "13:00:00"})
    proposal = propose(case, clinic.model_copy(update={"regimens": own}))
    last = proposal.candidates[-1]
    assert last.regimen.id == "hourly"
    assert last.error is not None
    assert "16 times a day does not fit between 10:00-13:00" in last.error
    assert proposal.chosen == "weekly-4-3-2-1"


def test_the_case_s_own_regimen_is_ignored(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """A proposal is made before the choice, and is the same after it."""
    for regimen in (None, "drop-free", "no such regimen"):
        assert propose(change(ordinary, plan={"regimen": regimen}), clinic).chosen == "weekly-4-3-2-1"


def test_a_proposal_is_the_same_after_a_change_of_drops(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Each regimen is looked at as if it were given: an allergy to quinolones stops as many of them as before.

    US labels of two generic moxifloxacin drops: quinolone hypersensitivity is a contraindication.
    """
    allergic = {"allergies": {"asked": "known", "known": [{"substance": "moxifloxacin", "reaction": "rash"}]}}
    case = change(ordinary, health=allergic)
    later = {"on": "2027-03-01", "regimen": "tobramycin-dexamethasone", "by": "Dr Example", "why": "as seen"}
    after = Case.model_validate({**case.model_dump(by_alias=True), "drop_changes": [later], "version": 2}, strict=False)
    before = propose(case, clinic)
    assert len([candidate for candidate in before.candidates if candidate.stops]) > 10
    assert propose(after, clinic) == before


def test_drop_free_is_asked_about_where_nothing_is_injected(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Bardoloi et al 2020: no drops at home rest on what is injected. Nobody gives drops, so it is put forward."""
    for injected, against in (("no", ["drop-free-without-injection"]), ("yes", [])):
        case = altered(ordinary, {**NOBODY, "plan": {"injected_antibiotic": injected}}, change)
        assert [f.id for f in of(propose(case, clinic), "drop-free").against] == against


def test_no_nsaid_or_steroid_where_the_title_says_none(clinic: Clinic, ordinary: Case) -> None:
    """The steroid-sparing regimen has no steroid, and the one for a diseased surface no NSAID and nothing preserved
    with benzalkonium chloride."""
    formulary = read_formulary(clinic)
    proposal = propose(ordinary, clinic)
    sparing, surface = (
        [formulary[one.drug] for one in of(proposal, regimen).regimen.items]
        for regimen in ("nsaid-no-steroid", "few-unpreserved-drops")
    )
    assert all(DrugClass.STEROID not in drug.classes for drug in sparing)
    assert all(DrugClass.NSAID not in drug.classes for drug in surface)
    assert all(drug.preservative != "benzalkonium chloride" for drug in surface)
