"""Rows for the checks of steroids and NSAIDs; sources as in checks.toml, and beside the rows."""

from __future__ import annotations

from tests.drops.checking import (
    LONG_NSAID,
    LONG_STEROID,
    MOXI,
    NSAID,
    SHORT_STEROID,
    Fires,
    Silent,
    allergic,
    eye,
    health,
    item,
    plan,
    theatre,
    visits,
)

REASONED = [item("nepafenac", (1, 15, 3), reason="diabetic macular oedema")]

FIRES: list[Fires] = [
    ("nsaid-sensitivity", NSAID, health(aspirin_wheeze_or_polyps="yes"), "stop"),
    ("nsaid-sensitivity", NSAID, health(aspirin_wheeze_or_polyps="unknown"), "ask"),
    ("nsaid-sensitivity", NSAID, allergic("diclofenac"), "stop"),
    ("nsaid-sensitivity", [item("pranoprofen")], allergic("pranoprofen"), "stop"),
    ("nsaid-asthma", NSAID, health(asthma="yes"), "ask"),
    ("nsaid-asthma", NSAID, health(asthma="unknown"), "note"),
    ("nsaid-over-14-days", LONG_NSAID, {}, "ask"),
    ("nsaid-over-14-days", [item("nepafenac", (-2, 5, 3))], {}, "ask"),
    ("nsaid-surface-disease", NSAID, eye(surface_disease="yes"), "ask"),
    ("nsaid-surface-disease", NSAID, eye(surface_disease="unknown"), "note"),
    ("nsaid-diabetes", NSAID, health(diabetes="yes"), "ask"),
    ("nsaid-diabetes", NSAID, health(diabetes="unknown"), "note"),
    ("nsaid-connective-tissue", NSAID, health(connective_tissue_disease="yes"), "ask"),
    ("nsaid-with-steroid", [*NSAID, *SHORT_STEROID], {}, "note"),
    ("nsaid-anticoagulant", NSAID, health(anticoagulant="yes"), "ask"),
    ("steroid-without-pressure-visit", LONG_STEROID, {"visits": []}, "ask"),
    ("steroid-responder-visits", LONG_STEROID, eye(steroid_response_self="yes"), "ask"),
    ("steroid-responder-visits", LONG_STEROID, eye(steroid_response_family="yes"), "ask"),
    ("steroid-responder-visits", LONG_STEROID, eye(glaucoma="open angle"), "ask"),
    ("steroid-responder-visits", LONG_STEROID, eye(axial_length_mm=26.0), "ask"),
    ("steroid-responder-visits", LONG_STEROID, {"patient": {"birth_date": "1977-02-25"}}, "ask"),
    ("steroid-responder-visits", SHORT_STEROID, {**eye(axial_length_mm=26.0), "visits": []}, "ask"),
    ("steroid-response-not-asked", LONG_STEROID, eye(steroid_response_self="unknown"), "note"),
    ("steroid-response-not-asked", LONG_STEROID, eye(axial_length_mm=None), "note"),
    ("steroid-herpes", SHORT_STEROID, eye(herpes_keratitis="active"), "stop"),
    ("steroid-herpes", SHORT_STEROID, eye(herpes_keratitis="past"), "ask"),
    ("steroid-herpes", SHORT_STEROID, eye(herpes_keratitis="unknown"), "ask"),
    # US nepafenac label: beyond day 14, or from more than one day before; the visit for the cornea: common practice
    ("nsaid-over-14-days", REASONED, {}, "note"),
    ("nsaid-over-14-days", [item("nepafenac", (-2, 5, 3), reason="uveitis")], {}, "note"),
    ("nsaid-over-14-days", [item("nepafenac", (5, 11, 3))], {}, "ask"),  # eleven days, the last is day 15
    ("nsaid-without-cornea-visit", REASONED, {}, "ask"),
    ("nsaid-without-cornea-visit", LONG_NSAID, visits(("cornea", "2027-03-09")), "ask"),  # day 13
    (
        "nsaid-without-cornea-visit",
        LONG_NSAID,
        visits(("cornea", "2027-03-12")),
        "ask",
    ),  # day 16, the drops ended on 15
    ("nsaid-without-cornea-visit", LONG_NSAID, visits(("final", "2027-03-10")), "ask"),
    # US nepafenac label; Ashena 2021; Ting, Ghosh 2019
    ("nsaid-epithelial-defect", NSAID, eye(epithelial_defect="yes"), "stop"),
    ("nsaid-epithelial-defect", NSAID, eye(epithelial_defect="unknown"), "ask"),
    ("nsaid-surface-disease", NSAID, eye(corneal_sensation_reduced="yes"), "ask"),
    ("nsaid-surface-disease", NSAID, eye(corneal_sensation_reduced="unknown"), "note"),
    ("nsaid-complicated-surgery", NSAID, {"done": {"vitreous_lost": "yes"}}, "ask"),
    ("nsaid-complicated-surgery", NSAID, {"done": {"piece_retained": "yes"}}, "ask"),
    ("nsaid-complicated-surgery", NSAID, {"done": {"complication": "iris torn"}}, "ask"),
    ("nsaid-anticoagulant", NSAID, health(antiplatelet="yes"), "ask"),
    ("nsaid-anticoagulant", NSAID, health(anticoagulant="unknown"), "note"),
    ("nsaid-connective-tissue", NSAID, health(connective_tissue_disease="unknown"), "note"),
    # FDA label change of November 2012; Sharir 1997: injected and by mouth as well
    ("nsaid-sensitivity", MOXI, {**health(aspirin_wheeze_or_polyps="yes"), **theatre("ketorolac")}, "stop"),
    (
        "nsaid-sensitivity",
        MOXI,
        {**health(aspirin_wheeze_or_polyps="unknown"), **plan(tablets=["diclofenac 50 mg"])},
        "ask",
    ),
    # from memory: one pressure visit, after a short course too
    ("steroid-responder-visits", SHORT_STEROID, {**health(diabetes="yes"), "visits": []}, "ask"),
    ("steroid-responder-visits", SHORT_STEROID, {**health(connective_tissue_disease="yes"), "visits": []}, "ask"),
    ("steroid-responder-visits", SHORT_STEROID, {**health(glaucoma_in_close_relative="yes"), "visits": []}, "ask"),
    ("steroid-response-not-asked", LONG_STEROID, health(glaucoma_in_close_relative="unknown"), "note"),
    # ESCRS guidelines as told in EuroTimes, 2025: a depot goes with pressure checks
    ("steroid-injected", [], {**theatre("triamcinolone 4 mg"), "visits": []}, "note"),
    ("steroid-injected", MOXI, {"done": {"injected": ["dexamethasone 2 mg"]}, **health(diabetes="yes")}, "note"),
    # US difluprednate label
    ("steroid-corneal-infection", SHORT_STEROID, eye(other_corneal_infection="yes"), "stop"),
    ("steroid-corneal-infection", SHORT_STEROID, eye(other_corneal_infection="unknown"), "ask"),
]

SILENT: list[Silent] = [
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
    ("steroid-without-pressure-visit", SHORT_STEROID, {"visits": []}),
    ("steroid-without-pressure-visit", [item("levofloxacin-dexamethasone"), item("loteprednol", (8, 7, 4))], {}),
    ("steroid-responder-visits", LONG_STEROID, eye(axial_length_mm=25.9)),
    ("steroid-responder-visits", LONG_STEROID, {"patient": {"birth_date": "1977-02-24"}}),  # 50 on the day of surgery
    ("steroid-responder-visits", SHORT_STEROID, eye(axial_length_mm=26.0)),  # the visit of day 19 is enough
    ("steroid-responder-visits", MOXI, eye(steroid_response_self="yes")),
    ("steroid-response-not-asked", LONG_STEROID, {}),
    ("steroid-response-not-asked", SHORT_STEROID, eye(steroid_response_self="unknown")),
    ("steroid-herpes", SHORT_STEROID, eye(herpes_keratitis="never")),
    ("steroid-herpes", MOXI, eye(herpes_keratitis="active")),
    ("nsaid-without-cornea-visit", NSAID, {}),
    ("nsaid-without-cornea-visit", LONG_NSAID, visits(("cornea", "2027-03-10"))),  # day 14
    ("nsaid-without-cornea-visit", LONG_NSAID, visits(("cornea", "2027-03-11"))),  # day 15
    ("nsaid-without-cornea-visit", [item("nepafenac", (-2, 5, 3))], {}),
    ("nsaid-epithelial-defect", NSAID, {}),
    ("nsaid-epithelial-defect", MOXI, eye(epithelial_defect="yes")),
    ("nsaid-epithelial-defect", [item("nepafenac", eyes="other")], eye(epithelial_defect="yes")),
    ("nsaid-surface-disease", MOXI, eye(corneal_sensation_reduced="yes")),
    ("nsaid-complicated-surgery", NSAID, {}),
    ("nsaid-complicated-surgery", NSAID, {"done": {"vitreous_lost": "no", "piece_retained": "no"}}),
    ("nsaid-complicated-surgery", MOXI, {"done": {"vitreous_lost": "yes"}}),
    ("nsaid-anticoagulant", MOXI, health(antiplatelet="yes")),
    ("nsaid-sensitivity", MOXI, {**health(aspirin_wheeze_or_polyps="yes"), **theatre("lidocaine")}),
    ("steroid-responder-visits", SHORT_STEROID, health(diabetes="yes")),  # the visit of day 19 is enough
    ("steroid-responder-visits", LONG_STEROID, health(diabetes="yes")),  # no early and late visit for it
    ("steroid-responder-visits", SHORT_STEROID, {"visits": []}),
    ("steroid-injected", MOXI, {**theatre("triamcinolone 4 mg")}),
    ("steroid-injected", MOXI, {**health(diabetes="yes"), **plan(tablets=["prednisolone 20 mg"])}),
    ("steroid-corneal-infection", SHORT_STEROID, {}),
    ("steroid-corneal-infection", MOXI, eye(other_corneal_infection="yes")),
]
