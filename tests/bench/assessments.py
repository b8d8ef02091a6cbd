"""Prints how many assessments a second: ``assess_risks`` on 100, 1,000 and 10,000 different cases, in one process.

The cases differ in every factor of the odds model and every fact that chooses between published groups; about a quarter
lie outside the model. They are made beforehand; only the assessment is timed, after a warm-up: the median of nine
different lists of 100, nine of 1,000, and one of 10,000. What counts is the growth ratio of one run, time per case at
10,000 over time per case at 100: near 1 where nothing grows with the list. Not a test: nothing is asserted.
"""

from __future__ import annotations

import random
import statistics
import time

from consent.case import Case, read_case
from consent.case.answers import (
    Anaesthesia,
    Answer,
    Glaucoma,
    NucleusGrade,
    Operation,
    PupilGrade,
    Retinopathy,
    Sex,
    SurgeonGrade,
)
from consent.case.model import AlphaBlocker, Nucleus
from consent.clinic import read_clinic
from consent.resources import package_data
from consent.risk import assess_risks

SIZES = (100, 1_000, 10_000)
ROUNDS, SEED = 9, 2026
ANSWERS = (
    "white",
    "pseudoexfoliation",
    "phacodonesis",
    "guttata",
    "fundus_seen",
    "macular_oedema",
    "epiretinal_membrane",
    "uveitis",
    "previous_detachment",
)
BLOCKERS = (
    AlphaBlocker(ever=Answer.NO),
    AlphaBlocker(),
    AlphaBlocker(ever=Answer.YES, drugs=("doxazosin",), taking_now=Answer.YES),
    AlphaBlocker(ever=Answer.YES, drugs=("tamsulosin",), taking_now=Answer.YES),
)


def varied(shipped: Case, draw: random.Random) -> Case:
    """The shipped case with its facts drawn anew."""
    eye = {name: draw.choice(list(Answer)) for name in ANSWERS} | {
        "nucleus": Nucleus(grade=draw.choice(list(NucleusGrade))),
        "pupil_grade": draw.choice(list(PupilGrade)),
        "glaucoma": draw.choice(list(Glaucoma)),
        "retinopathy": draw.choice(list(Retinopathy)),
        "axial_length_mm": draw.choice([None, round(draw.uniform(20, 32), 2)]),
        "posterior_polar": Answer.YES if draw.random() < 0.05 else Answer.NO,
    }
    health = {
        "diabetes": draw.choice(list(Answer)),
        "can_lie_flat": draw.choice(list(Answer)),
        "alpha_blocker": draw.choice(BLOCKERS),
    }
    plan = {
        "operation": Operation.SMALL_INCISION if draw.random() < 0.2 else Operation.PHACO,
        "anaesthesia": draw.choice([None, *Anaesthesia]),
        "injected_antibiotic": draw.choice(list(Answer)),
        "surgeon": shipped.plan.surgeon.model_copy(update={"grade": draw.choice([None, *SurgeonGrade])}),
    }
    patient = {"birth_date": None, "age_years": draw.randint(40, 98), "sex": draw.choice(list(Sex))}
    parts = {"eye": eye, "health": health, "plan": plan, "patient": patient}
    return shipped.model_copy(
        update={name: getattr(shipped, name).model_copy(update=facts) for name, facts in parts.items()}
    )


def seconds(cases: list[Case]) -> float:
    """Seconds to assess the list."""
    clinic = read_clinic()
    start = time.perf_counter()
    for case in cases:
        assess_risks(case, clinic)
    return time.perf_counter() - start


def main() -> None:
    """Measure and print."""
    shipped = read_case(package_data("case", "examples", "ordinary.toml"))
    draw = random.Random(SEED)
    cases = [varied(shipped, draw) for _ in range(max(SIZES))]
    outside = sum(
        case.plan.operation is not Operation.PHACO or case.eye.posterior_polar is Answer.YES for case in cases
    )
    seconds(cases[:200])
    each = {}
    for size in SIZES:
        starts = range(0, len(cases), size)[:ROUNDS]
        each[size] = statistics.median(seconds(cases[start : start + size]) for start in starts) / size
        print(f"{size:6} assessments: {1 / each[size]:6.0f} cases a second, {1000 * each[size]:.3f} ms a case")
    least, most = min(SIZES), max(SIZES)
    print(
        f"growth, time per case at {most} over at {least}: {each[most] / each[least]:.2f}; outside the model: {outside}"
    )


if __name__ == "__main__":
    main()
