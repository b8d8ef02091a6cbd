"""What the tests of the checks share: invented drugs and regimens, and the ordinary case with parts changed."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from typing import Any

from consent.case import CapSeen, Case, Done, DropChange, OwnDrop, Visit
from consent.case.part import Part
from consent.clinic import Clinic
from consent.drops import Finding, Start, check_drops, plan_drops, read_formulary

Change = Callable[..., Case]
Items = list[dict[str, Any]]
Parts = dict[str, Any]
Fires = tuple[str, Items, Parts, str]
Silent = tuple[str, Items, Parts]


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
    "blue-bottle": drug("timolol", "0.5%", "beta-blocker"),
    "atropine": drug("atropine", "1%", "cycloplegic"),
    "phenylephrine": drug("phenylephrine", "10%", "cycloplegic"),
    "tears": drug("hypromellose", "0.3%", "lubricant"),
}


def item(name: str, *steps: tuple[int, int, int], **more: Any) -> dict[str, Any]:
    rows = [{"from_day": a, "days": b, "times_a_day": c} for a, b, c in steps or ((1, 7, 2),)]
    return {"drug": name, "ends": "until review", "steps": rows, "source": "invented", "verified": "memory", **more}


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


def health(**answers: Any) -> Parts:
    return {"health": dict(answers)}


def eye(**answers: Any) -> Parts:
    return {"eye": dict(answers)}


def lens_in(place: str) -> dict[str, Any]:
    return {"lens": {"design": "three-piece", "material": "acrylic", "place": place}}


def visits(*placed: tuple[str, str]) -> Parts:
    """The visits of the case: kind and date of each."""
    return {"visits": [{"kind": kind, "date": date} for kind, date in placed]}


def plan(**changed: Any) -> Parts:
    return {"plan": changed}


def theatre(*drugs: str) -> Parts:
    """Only these drugs in theatre."""
    return plan(theatre_drugs=list(drugs), injected_antibiotic="no", injected_antibiotic_drug=None)


def cefuroxime() -> Parts:
    return plan(theatre_drugs=["povidone-iodine"], injected_antibiotic_drug="cefuroxime 1 mg")


NOTHING_GIVEN = theatre()
ACETAZOLAMIDE = plan(tablets=["Acetazolamide 250 mg"])


def own(drug_id: str, eyes: str = "left", **more: Any) -> Parts:
    """One long-standing drop; the ordinary case is of a left eye."""
    return {"own_drops": [{"drug": drug_id, "eyes": eyes, "times_a_day": 2, **more}]}


def caps(*seen: tuple[str, str, str]) -> Parts:
    """Caps seen: drug, colour and date of each."""
    return {"caps_seen": [{"drug": name, "colour": colour, "on": on} for name, colour, on in seen]}


def changed_on(date: str) -> Parts:
    """Other drops from ``date`` on: those of the regimen "later"."""
    return {"drop_changes": [{"on": date, "regimen": "later", "by": "Dr Example", "why": "as seen"}]}


LISTS: dict[str, type[Part]] = {
    "visits": Visit,
    "own_drops": OwnDrop,
    "caps_seen": CapSeen,
    "drop_changes": DropChange,
}
"""Parts of a case that are lists; they and ``done`` are put in whole."""


def with_parts(case: Case, parts: Parts, change: Change) -> Case:
    """``case`` with the keys of its tables replaced, and its lists and ``done`` put in whole."""
    case = change(case, **{name: keys for name, keys in parts.items() if name not in LISTS and name != "done"})
    lists = {name: _read(LISTS[name], parts[name]) for name in LISTS if name in parts}
    done = {"done": Done.model_validate_json(json.dumps(parts["done"]))} if "done" in parts else {}
    return case.model_copy(update={**lists, **done})


def _read(model: type[Part], entries: Sequence[dict[str, Any]]) -> tuple[Part, ...]:
    return tuple(model.model_validate_json(json.dumps(entry)) for entry in entries)


def findings(
    check_id: str,
    clinic: Clinic,
    case: Case,
    change: Change,
    items: list[dict[str, Any]],
    parts: Parts,
    start: Start | None = None,
    later: Sequence[dict[str, Any]] = (),
    **aftercare: Any,
) -> list[Finding]:
    """The findings with ``check_id`` on ``case`` with ``parts`` changed and ``items`` as its regimen.

    ``later`` are the items of a regimen called "later", for changes.
    """
    regimen: dict[str, dict[str, Any]] = {
        "own": {"title": "own", "items": items} if items else {"title": "own", "drop_free": True, **NOTHING}
    }
    if start and items:
        regimen["own"]["start"] = start.value
    regimen |= {"later": {"title": "later", "items": list(later)}} if later else {}
    clinic = clinic.model_copy(
        update={
            "formulary": FORMULARY,
            "regimens": regimen,
            "aftercare": clinic.aftercare.model_copy(update=aftercare),
        }
    )
    case = with_parts(case, {**parts, "plan": {**parts.get("plan", {}), "regimen": "own"}}, change)
    return [f for f in check_drops(plan_drops(case, clinic, start), case, read_formulary(clinic)) if f.id == check_id]
