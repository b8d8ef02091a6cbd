"""Rows for the checks of allergies, drops and theatre; sources as in checks.toml and theatre.toml."""

from __future__ import annotations

from tests.drops.checking import (
    ACETAZOLAMIDE,
    CAI,
    LONG_STEROID,
    MOXI,
    NOTHING_GIVEN,
    SHORT_STEROID,
    Fires,
    Silent,
    allergic,
    cefuroxime,
    health,
    item,
    plan,
    theatre,
)

FIRES: list[Fires] = [
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
    ("allergies-not-asked", [], {"health": {"allergies": {"asked": "not asked"}}}, "ask"),  # drugs in theatre
    # US labels of generic moxifloxacin: any quinolone
    ("allergy-theatre-drug", [], allergic("ciprofloxacin"), "stop"),
    ("allergy-theatre-drug", [], allergic("moxifloxacin"), "stop"),
    # the drug itself, and its relatives: common practice; cefuroxime: label, from memory
    ("allergy-theatre-drug", [], allergic("iodine"), "stop"),
    ("allergy-theatre-drug", [], allergic("lignocaine injection"), "stop"),
    ("allergy-theatre-drug", [], allergic("bupivacaine"), "ask"),
    ("allergy-theatre-drug", [], allergic("bupivacaine", reaction="anaphylaxis"), "stop"),
    ("allergy-theatre-drug", [], allergic("a local anaesthetic at the dentist"), "ask"),
    ("allergy-theatre-drug", [], allergic("homatropine"), "ask"),  # tropicamide
    ("allergy-theatre-drug", [], {**allergic("penicillin"), **cefuroxime()}, "ask"),
    ("allergy-theatre-drug", [], {**allergic("penicillin", severe="yes"), **cefuroxime()}, "stop"),
    ("allergy-theatre-drug", [], {**allergic("cephalexin"), **cefuroxime()}, "stop"),
    ("allergy-theatre-drug", [], {**allergic("hair dye"), **theatre("trypan blue 0.06%")}, "ask"),
    ("allergy-theatre-drug", [], {**allergic("prednisolone"), **theatre("triamcinolone")}, "ask"),
    ("allergy-theatre-drug", [], {**allergic("ibuprofen"), **theatre("phenylephrine 1% and ketorolac")}, "stop"),
    ("allergy-theatre-drug", [], {**allergic("gentamicin"), "done": {"injected": ["Tobramycin 20 mg"]}}, "ask"),
    ("allergy-theatre-drug", [], {**allergic("norfloxacin"), **plan(tablets=["ciprofloxacin 500 mg"])}, "stop"),
    ("theatre-drug-not-recognised", [], theatre("viscous jelly"), "note"),
    ("theatre-drug-not-recognised", [], plan(tablets=["some vitamin"]), "note"),
    ("theatre-drug-not-recognised", [], plan(injected_antibiotic_drug=None), "note"),
    # reviews and a survey of clinicians: tablets as well as drops
    ("allergy-sulfonamide", MOXI, {**allergic("sulfa"), **ACETAZOLAMIDE}, "ask"),
    ("allergy-sulfonamide", MOXI, {**allergic("sulfa", reaction="Stevens-Johnson"), **ACETAZOLAMIDE}, "stop"),
    ("allergy-sulfonamide", CAI, {**allergic("sulfa"), **ACETAZOLAMIDE}, "ask"),
    ("allergy-sulfonamide", [], {**allergic("sulfa"), **theatre("acetazolamide 500 mg")}, "ask"),
]

SILENT: list[Silent] = [
    ("allergies-not-asked", MOXI, {"health": {"allergies": {"asked": "none"}}}),
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
    ("allergies-not-asked", [], {**health(allergies={"asked": "not asked"}), **NOTHING_GIVEN}),
    ("allergy-theatre-drug", MOXI, {}),
    ("allergy-theatre-drug", MOXI, allergic("penicillin")),
    ("allergy-theatre-drug", MOXI, allergic("bupivacaine", severe="yes") | theatre("proparacaine")),
    ("allergy-theatre-drug", [], {**allergic("moxifloxacin"), **NOTHING_GIVEN}),
    ("allergy-not-recognised", MOXI, allergic("povidone-iodine")),
    ("allergy-not-recognised", MOXI, allergic("vancomycin")),
    ("allergy-not-recognised", [], {**allergic("some red eye drop"), **NOTHING_GIVEN}),
    ("theatre-drug-not-recognised", MOXI, {}),
    ("theatre-drug-not-recognised", MOXI, plan(injected_antibiotic="no", injected_antibiotic_drug=None)),
    ("theatre-drug-not-recognised", MOXI, theatre("Lignocaine 2%", "tropicamide 0.8% + phenylephrine 5%")),
    ("allergy-sulfonamide", MOXI, {**allergic("penicillin"), **ACETAZOLAMIDE}),
]
