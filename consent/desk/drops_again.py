"""Whether drops that were chosen before surgery still fit what happened in the eye."""

from __future__ import annotations

from dataclasses import dataclass

from consent.case import Answer
from consent.drops.regimens import Regimen
from consent.review import Assessment


@dataclass(frozen=True)
class DropsAgain:
    """Drops were chosen before the capsule tore or vitreous was lost. ``regimen``: what is put forward now, if any."""

    regimen: Regimen | None


def drops_again(assessment: Assessment) -> DropsAgain | None:
    """What says that the drops are to be chosen again; None where they were chosen after, or nothing happened."""
    case, done = assessment.case, assessment.case.done
    if done is None or Answer.YES not in (done.capsule_torn, done.vitreous_lost):
        return None
    if case.plan.regimen is None or done.regimen is not None or case.drop_changes:
        return None
    chosen = assessment.proposal.chosen
    found = (one.regimen for one in assessment.proposal.candidates if one.regimen.id == chosen)
    return DropsAgain(next(found, None))
