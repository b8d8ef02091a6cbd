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
    Silent,
    caps,
    eye,
    health,
    item,
    own,
)

TWO = [*MOXI, *LONG_STEROID]
YOUNG = {"patient": {"birth_date": "1990-01-01"}}

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
    # An et al 2014 for technique; that somebody gives the drops is common practice
    ("nobody-gives-drops", MOXI, {"patient": {"drops_given_by": "nobody"}}, "ask"),
    ("nobody-gives-drops", MOXI, {"patient": {"drops_given_by": "unknown"}}, "note"),
    ("nobody-gives-drops", MOXI, {"patient": {"drops_helper": None}}, "note"),
    # Marando et al and Dave et al 2015, as told on aao.org: people go by the cap
    ("caps-alike", TWO, caps(("moxifloxacin", "white", "2027-02-24"), ("loteprednol", "white", "2027-02-24")), "note"),
    ("cap-changed", TWO, caps(("loteprednol", "pink", "2027-02-24"), ("loteprednol", "white", "2027-03-03")), "ask"),
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
    ("names-alike", [*MOXI, *LONG_STEROID, *WIDE], {}),
    ("names-alike", [item("homatropine", eyes="each")], {"other_eye": {"operated": "yes"}}),
]
