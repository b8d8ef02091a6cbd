"""Rows for the checks of drugs that lower the pressure or widen the pupil; sources as in checks.toml."""

from __future__ import annotations

from tests.drops.checking import (
    ACETAZOLAMIDE,
    CAI,
    MOXI,
    PROSTAGLANDIN,
    TIMOLOL,
    WIDE,
    Fires,
    Silent,
    eye,
    health,
    item,
    lens_in,
    theatre,
)

MAN = {"patient": {"sex": "male"}}
YOUNGER = {"patient": {"birth_date": "1970-01-01"}}
STRONG = {**YOUNGER, **theatre("phenylephrine 10%", "lidocaine")}
BETWEEN = theatre("tropicamide 0.8% + phenylephrine 5%")
HYPERTENSIVE = health(high_blood_pressure="yes")

FIRES: list[Fires] = [
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
    # UK SmPC of acetazolamide
    ("acetazolamide-contraindicated", [], {**health(low_sodium_or_potassium="yes"), **ACETAZOLAMIDE}, "stop"),
    ("acetazolamide-contraindicated", [], {**health(kidney_disease="yes"), **ACETAZOLAMIDE}, "stop"),
    ("acetazolamide-contraindicated", [], {**health(liver_disease="yes"), **ACETAZOLAMIDE}, "stop"),
    ("acetazolamide-contraindicated", [], {**health(adrenal_failure="yes"), **theatre("acetazolamide")}, "stop"),
    ("acetazolamide-contraindicated", [], {**health(adrenal_failure="unknown"), **ACETAZOLAMIDE}, "ask"),
    (
        "acetazolamide-contraindicated",
        [],
        {**health(liver_disease="yes"), "done": {"injected": ["Acetazolamide 500 mg"]}},
        "stop",
    ),
    # lungs: a Swiss product text; sickle cells: from memory
    ("acetazolamide-lungs-or-sickle-cell", [], {**health(copd="yes"), **ACETAZOLAMIDE}, "ask"),
    ("acetazolamide-lungs-or-sickle-cell", [], {**health(sickle_cell="yes"), **ACETAZOLAMIDE}, "ask"),
    ("acetazolamide-lungs-or-sickle-cell", [], {**health(sickle_cell="unknown"), **ACETAZOLAMIDE}, "note"),
    # an optometry reference's drug page; hyoscine label: either eye that gets the drop
    ("cycloplegic-narrow-angle", [item("homatropine", eyes="other")], eye(glaucoma="angle closure"), "stop"),
    ("cycloplegic-narrow-angle", [item("homatropine", eyes="each")], {}, "ask"),
    ("cycloplegic-prostate-or-confusion", WIDE, {**health(prostate_trouble="yes"), **MAN}, "ask"),
    ("cycloplegic-prostate-or-confusion", WIDE, {**health(prostate_trouble="unknown"), **MAN}, "note"),
    ("cycloplegic-prostate-or-confusion", WIDE, health(confusion="yes"), "ask"),
    ("dilating-drug-narrow-angle", [], eye(glaucoma="angle closure"), "ask"),
    ("dilating-drug-narrow-angle", [], eye(chamber_depth_mm=2.4), "note"),
    # UK SmPC texts of phenylephrine drops 10%
    ("phenylephrine-strong", [], {**STRONG, **health(heart_disease="yes")}, "stop"),
    ("phenylephrine-strong", [], {**STRONG, **health(heart_failure="yes")}, "stop"),
    ("phenylephrine-strong", [], {**STRONG, **health(high_blood_pressure="yes")}, "stop"),
    ("phenylephrine-strong", [], {**STRONG, **health(overactive_thyroid="yes")}, "stop"),
    ("phenylephrine-strong", [], {**STRONG, **health(diabetes="yes", insulin_for_long="yes")}, "stop"),
    ("phenylephrine-strong", [], {**STRONG, **health(medicines=["Telmisartan 40 mg"])}, "stop"),
    ("phenylephrine-strong", [], {**STRONG, **health(medicines=["atenolol"])}, "stop"),
    ("phenylephrine-strong", [], {**STRONG, **health(medicines=["selegiline"])}, "stop"),
    ("phenylephrine-strong", [], {**STRONG, **health(medicines=["amitriptyline 25 mg"])}, "stop"),
    ("phenylephrine-strong", [], {**STRONG, **eye(glaucoma="angle closure")}, "stop"),
    ("phenylephrine-strong", [], {**STRONG, "patient": {"birth_date": "1962-02-24"}}, "stop"),  # 65 on the day
    ("phenylephrine-strong", [], {**STRONG, **health(overactive_thyroid="unknown")}, "ask"),
    ("phenylephrine-strong", [], {**YOUNGER, **theatre("Phenylephrine 100 mg/mL"), **HYPERTENSIVE}, "stop"),
    ("phenylephrine-strong", [], {**YOUNGER, **theatre("phenylephrine hydrochloride 10 %"), **HYPERTENSIVE}, "stop"),
    ("phenylephrine-strong", [item("phenylephrine")], {**YOUNGER, **HYPERTENSIVE}, "stop"),
    # strengths between: common practice
    ("phenylephrine-strong", [], {**YOUNGER, **BETWEEN, **HYPERTENSIVE}, "ask"),
    ("phenylephrine-strong", [], {**YOUNGER, **BETWEEN, **health(heart_disease="unknown")}, "note"),
    ("phenylephrine-no-strength", [], theatre("tropicamide 0.8% + phenylephrine"), "ask"),
    ("phenylephrine-no-strength", [], theatre("phenylephrine + ketorolac 0.3%"), "ask"),
]

SILENT: list[Silent] = [
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
    ("acetazolamide-contraindicated", [], ACETAZOLAMIDE),
    ("acetazolamide-contraindicated", CAI, health(liver_disease="yes", adrenal_failure="yes")),
    ("acetazolamide-lungs-or-sickle-cell", [], ACETAZOLAMIDE),
    ("acetazolamide-lungs-or-sickle-cell", CAI, health(copd="yes")),
    ("cycloplegic-narrow-angle", [item("homatropine", eyes="each")], {"other_eye": {"operated": "yes"}}),
    ("cycloplegic-prostate-or-confusion", WIDE, {}),
    ("cycloplegic-prostate-or-confusion", WIDE, health(prostate_trouble="unknown")),  # a woman
    ("cycloplegic-prostate-or-confusion", MOXI, {**health(prostate_trouble="yes"), **MAN}),
    ("dilating-drug-narrow-angle", [], {}),
    ("dilating-drug-narrow-angle", [], eye(glaucoma="angle closure", lens_implant_present="yes")),
    ("dilating-drug-narrow-angle", [], {**eye(glaucoma="angle closure"), **theatre("lidocaine")}),
    ("phenylephrine-strong", [], STRONG),
    ("phenylephrine-strong", [], {**STRONG, **health(medicines=["metformin"])}),
    ("phenylephrine-strong", [], {**STRONG, **health(diabetes="no", insulin_for_long="unknown")}),
    ("phenylephrine-strong", [], {**STRONG, "patient": {"birth_date": "1962-02-25"}}),  # 64 on the day
    ("phenylephrine-strong", [], {**theatre("phenylephrine 2.5%"), **HYPERTENSIVE}),
    ("phenylephrine-strong", [], {**theatre("tropicamide 10% phenylephrine 2.5%"), **HYPERTENSIVE}),
    ("phenylephrine-no-strength", [], {}),
    ("phenylephrine-no-strength", [], STRONG),
]
