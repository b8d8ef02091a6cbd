"""Whether drops that were chosen before surgery still fit what happened in the eye."""

from __future__ import annotations

from dataclasses import dataclass

from consent.case import Answer
from consent.review import Assessment


@dataclass(frozen=True)
class DropsAgain:
    """Drops were chosen before the capsule tore or vitreous was lost. ``regimen``: title of what is put forward now;
    empty where nothing is."""

    regimen: str


def drops_again(assessment: Assessment) -> DropsAgain | None:
    """What says that the drops are to be chosen again; None where they were chosen after, or nothing happened."""
    case, done = assessment.case, assessment.case.done
    if done is None or Answer.YES not in (done.capsule_torn, done.vitreous_lost):
        return None
    if case.plan.regimen is None or done.regimen is not None or case.drop_changes:
        return None
    chosen = assessment.proposal.chosen
    titles = [one.regimen.title for one in assessment.proposal.candidates if one.regimen.id == chosen]
    return DropsAgain(titles[0] if titles else "")
