"""Rows for the checks of the whole plan, of long-standing drops and of caps; sources as in checks.toml."""

from __future__ import annotations

from tests.drops.checking import (
    ACETAZOLAMIDE,
    CAI,
    LONG_STEROID,
    MOXI,
    NOTHING_GIVEN,
    NSAID,
    TIMOLOL,
    WIDE,
    Fires,
    Parts,
    Silent,
    caps,
    eye,
    health,
    item,
    own,
    plan,
)


def seen(*caps_seen: tuple[str, str | None, str, int]) -> Parts:
    """Caps seen: drug, eye (``None``: not noted), colour and day of February 2027."""
    return {
        "caps_seen": [
            {"drug": drug, "side": side, "colour": colour, "on": f"2027-02-{day}"}
            for drug, side, colour, day in caps_seen
        ]
    }


TWO = [*MOXI, *LONG_STEROID]
YOUNG = {"patient": {"birth_date": "1990-01-01"}}

SHORT_DAY = {"patient": {"waking_from": "09:00:00", "waking_to": "12:00:00"}}

INTENSIFIED = [item("moxifloxacin", (1, 3, 4), (4, 4, 8))]
INTENSIFIED[0]["steps"][1]["more_on_purpose"] = True

FIRES: list[Fires] = [
    ("side-disagrees", MOXI, {"plan": {"side": "right"}}, "stop"),
    ("duplicate-class", [item("levofloxacin-dexamethasone"), *MOXI], {}, "stop"),
    ("duplicate-class", [item("timolol"), item("betaxolol", (7, 2, 2))], {}, "stop"),
    ("antibiotic-tapered", [item("levofloxacin-dexamethasone", (1, 7, 4), (8, 7, 2))], {}, "ask"),
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
    # a national registry's summary and label digests; Demarinis 2023
    ("pregnancy", [], {**health(pregnant="yes"), **ACETAZOLAMIDE}, "stop"),
    ("pregnancy", [], health(pregnant="yes"), "ask"),
    ("pregnancy", NSAID, {**health(pregnant="no"), **YOUNG}, "note"),
    # common practice from here on: nothing of the patient's own is lost, every review and pause has its visit
    ("own-glaucoma-drop-missing", TIMOLOL, eye(glaucoma_drops=["dorzolamide + timolol"]), "ask"),
    ("own-glaucoma-drop-missing", MOXI, {**eye(glaucoma_drops=["timolol"]), **own("latanoprost")}, "ask"),
    ("own-glaucoma-drop-missing", MOXI, {**eye(glaucoma_drops=["timolol"]), **own("timolol", "right")}, "ask"),
    ("own-drop-undecided", MOXI, own("timolol"), "stop"),
    ("own-drop-undecided", MOXI, own("tears", "right", decision="undecided"), "stop"),
    ("own-drop-stopped", MOXI, own("timolol", decision="stop"), "note"),
    ("pause-without-visit", MOXI, own("timolol", decision="pause", pause_until="2027-03-16"), "ask"),
    ("review-without-visit", [item("loteprednol", (1, 34, 4))], {}, "ask"),  # the visits are on days 1, 7, 19 and 35
    ("review-without-visit", [item("loteprednol", (1, 35, 4))], {"visits": []}, "ask"),
    ("own-glaucoma-drop-missing", MOXI, health(medicines=["timolol eye drops both eyes"]), "ask"),
    ("own-glaucoma-drop-missing", MOXI, health(medicines=["metformin", "Latanoprost at night"]), "ask"),
    ("own-glaucoma-drop-missing", MOXI, health(medicines=["eye drops for pressure"]), "ask"),
    ("own-glaucoma-drop-missing", MOXI, health(medicines=["some drops, name not known"]), "ask"),
    ("own-glaucoma-drop-missing", MOXI, health(medicines=["netarsudil"]), "ask"),
    ("own-glaucoma-drop-missing", MOXI, eye(glaucoma_drops=["moxifloxacin both eyes"]), "ask"),
    ("doses-close", [item("loteprednol", (1, 7, 8))], SHORT_DAY, "ask"),
    ("doses-close", [item("loteprednol", (1, 7, 8)), item("moxifloxacin", (1, 7, 5))], SHORT_DAY, "ask"),
    # Bardoloi et al, Indian J Ophthalmol 2020;68:1081-1085: no drops at home rest on what is injected
    ("drop-free-without-injection", [], plan(injected_antibiotic="no"), "ask"),
    ("drop-free-without-injection", [], plan(injected_antibiotic="unknown"), "ask"),
    # An et al 2014 for technique; that somebody gives the drops is common practice
    ("nobody-gives-drops", MOXI, {"patient": {"drops_given_by": "nobody"}}, "ask"),
    ("nobody-gives-drops", MOXI, {"patient": {"drops_given_by": "unknown"}}, "note"),
    ("nobody-gives-drops", MOXI, {"patient": {"drops_helper": None}}, "note"),
    # Marando et al and Dave et al 2015, as told on aao.org: people go by the cap
    ("caps-alike", TWO, caps(("moxifloxacin", "white", "2027-02-24"), ("loteprednol", "white", "2027-02-24")), "note"),
    ("cap-changed", TWO, caps(("loteprednol", "pink", "2027-02-24"), ("loteprednol", "white", "2027-03-03")), "ask"),
    # the last cap of a bottle, whether its eye was noted or not
    ("cap-changed", TWO, seen(("loteprednol", "left", "pink", 24), ("loteprednol", None, "white", 25)), "ask"),
    (
        "caps-alike",
        TWO,
        seen(
            ("loteprednol", "left", "pink", 24),
            ("moxifloxacin", "left", "white", 24),
            ("loteprednol", None, "white", 25),
        ),
        "note",
    ),
    ("cap-of-no-bottle", TWO, caps(("timolol", "yellow", "2027-02-24")), "ask"),
    ("names-alike", [item("homatropine"), item("atropine", (8, 7, 1))], {}, "ask"),
    ("names-alike", [item("timolol"), item("betaxolol", eyes="other")], {}, "ask"),
]

SILENT: list[Silent] = [
    ("side-disagrees", MOXI, {}),
    ("duplicate-class", [*MOXI, *LONG_STEROID, *NSAID, *WIDE], {}),
    ("duplicate-class", [item("timolol"), item("betaxolol", eyes="other")], {}),
    ("duplicate-class", [item("timolol"), item("betaxolol", (8, 2, 2))], {}),
    ("antibiotic-tapered", [item("loteprednol", (1, 7, 4), (8, 7, 2)), *MOXI], {}),
    ("pregnancy", MOXI, {}),
    ("pregnancy", MOXI, health(pregnant="unknown")),  # 65 years
    ("breastfeeding", MOXI, {}),
    ("own-glaucoma-drop-missing", TIMOLOL, eye(glaucoma_drops=["Timolol 0.5% twice a day"])),
    (
        "long-session",
        [item(name) for name in ("moxifloxacin", "loteprednol", "nepafenac", "timolol", "homatropine")],
        {},
    ),
    ("antibiotic-tapered", INTENSIFIED, {}),
    ("pregnancy", [], {**health(pregnant="unknown"), **NOTHING_GIVEN, **YOUNG}),
    ("pregnancy", NSAID, {}),  # 65 years
    ("pregnancy", MOXI, {**health(pregnant="no"), **YOUNG}),
    ("own-glaucoma-drop-missing", MOXI, {**eye(glaucoma_drops=["timolol 0.5%"]), **own("timolol", decision="stop")}),
    ("own-glaucoma-drop-missing", MOXI, {**eye(glaucoma_drops=["timolol"]), **own("timolol", "each")}),
    ("own-glaucoma-drop-missing", [*TIMOLOL, *CAI], eye(glaucoma_drops=["dorzolamide + timolol"])),
    ("own-drop-undecided", MOXI, own("timolol", decision="continue")),
    ("own-drop-undecided", MOXI, {}),
    ("own-drop-stopped", MOXI, own("tears", decision="stop")),
    ("own-drop-stopped", MOXI, own("timolol", decision="continue")),
    ("pause-without-visit", MOXI, own("timolol", decision="pause", pause_until="2027-03-15")),
    ("review-without-visit", [item("loteprednol", (1, 35, 4))], {}),
    ("review-without-visit", [item("loteprednol", (1, 34, 4), ends="course end")], {}),
    ("own-glaucoma-drop-missing", MOXI, health(medicines=["metformin", "clonidine", "acetazolamide 250 mg"])),
    ("own-glaucoma-drop-missing", MOXI, health(medicines=["ear drops", "Nose drops at night", "vitamin D drops"])),
    ("own-glaucoma-drop-missing", MOXI, health(medicines=["moxifloxacin eye drops"])),
    ("own-glaucoma-drop-missing", MOXI, {**health(medicines=["timolol"]), **own("timolol", "right")}),
    ("own-glaucoma-drop-missing", TIMOLOL, health(medicines=["timolol eye drops"])),
    ("doses-close", [item("loteprednol", (1, 7, 4))], SHORT_DAY),  # just an hour apart
    ("doses-close", [item("loteprednol", (1, 7, 8))], {}),
    ("drop-free-without-injection", [], plan(injected_antibiotic="yes")),
    ("drop-free-without-injection", MOXI, plan(injected_antibiotic="no")),
    ("nobody-gives-drops", MOXI, {}),
    ("nobody-gives-drops", MOXI, {"patient": {"drops_given_by": "self", "drops_helper": None}}),
    ("nobody-gives-drops", [], {"patient": {"drops_given_by": "nobody"}}),
    ("caps-alike", TWO, caps(("moxifloxacin", "white", "2027-02-24"), ("loteprednol", "pink", "2027-02-24"))),
    (
        "caps-alike",  # the last sighting counts
        TWO,
        caps(
            ("moxifloxacin", "white", "2027-03-03"),
            ("loteprednol", "pink", "2027-03-03"),
            ("loteprednol", "white", "2027-02-24"),
        ),
    ),
    ("caps-alike", TWO, caps(("moxifloxacin", "white", "2027-02-24"), ("timolol", "white", "2027-02-24"))),
    ("cap-changed", TWO, caps(("loteprednol", "pink", "2027-02-24"), ("loteprednol", "pink", "2027-03-03"))),
    ("cap-of-no-bottle", TWO, caps(("loteprednol", "pink", "2027-02-24"))),
    ("cap-of-no-bottle", TWO, seen(("loteprednol", "left", "pink", 24))),
    ("cap-changed", TWO, seen(("loteprednol", "left", "pink", 24), ("moxifloxacin", None, "white", 25))),
    ("names-alike", [*MOXI, *LONG_STEROID, *WIDE], {}),
    ("names-alike", [item("homatropine", eyes="each")], {"other_eye": {"operated": "yes"}}),
]
