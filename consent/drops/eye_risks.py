"""What puts an eye at risk on drops: one list for the checks that ask and for the situations that choose a regimen."""

from __future__ import annotations

from consent.case import Answer, Case, Glaucoma
from consent.case.model import Eye
from consent.drops.limits import Limits


def pressure_history(eye: Eye) -> list[str]:
    """Return what is known of this eye and this family that makes a pressure rise on steroid drops likely."""
    facts = {
        "pressure rose on steroid drops before": eye.steroid_response_self is Answer.YES,
        "pressure rose on steroid drops in a close relative": eye.steroid_response_family is Answer.YES,
        f"glaucoma: {eye.glaucoma}": eye.glaucoma not in (Glaucoma.NONE, Glaucoma.UNKNOWN),
    }
    return [fact for fact, holds in facts.items() if holds]


def long_eye(eye: Eye, limits: Limits) -> list[str]:
    """Return the axial length, mm, where it makes a pressure rise likelier."""
    length = eye.axial_length_mm
    return [f"axial length {length} mm"] if length is not None and length >= limits.long_eye_mm.value else []


def young(case: Case, limits: Limits) -> list[str]:
    """Return the age, years, where it makes a pressure rise likelier."""
    return [f"age {case.age_years} years"] if case.age_years < limits.young_eye_years.value else []


def macular_oedema_answers(eye: Eye) -> dict[str, Answer]:
    """Return the answers that tell whether the macula of this eye swells more easily; retinopathy is asked apart."""
    return {
        "macular oedema": eye.macular_oedema,
        "uveitis": eye.uveitis,
        "vein occlusion": eye.vein_occlusion,
        "epiretinal membrane": eye.epiretinal_membrane,
    }
