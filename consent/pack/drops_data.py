"""The drop plan as data: rows, bottles, days with their rounds, what is not given, and what was put forward."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from consent.drops import Candidate, Day, DaySessions, DropPlan, Row, Supply, Told, cautions_of, moment_of
from consent.review import Assessment


def drops_data(assessment: Assessment) -> dict[str, Any]:
    """``rows``, ``bottles``, ``days``, ``not_given``, ``cautions``, ``totals`` and ``proposal``, ready for JSON.

    Days are counted from the day of surgery, day 0; drops are counts; dates are ISO 8601, times HH:MM; ``moved`` are
    rows whose times were moved from their own to save rounds. ``untimed`` drops have no clock time.
    """
    plan = assessment.drops
    return {
        "regimen": plan.regimen.id,
        "times": plan.times,
        "by_landmarks": plan.by_landmarks,
        "issued_from": plan.issued_from,
        "longest_minutes": plan.longest_minutes,
        "rows": [_row(row) for row in plan.rows],
        "bottles": [_supply(supply) for supply in plan.supplies],
        "days": [_day(plan, day, sessions) for day, sessions in zip(plan.days, plan.sessions, strict=True)],
        "not_given": [_told(told) for told in plan.told],
        "cautions": [asdict(caution) for caution in cautions_of(plan)],
        "totals": {
            "drops": plan.total,
            "from_day_1": plan.total_from_day_1,
            "bottles": sum(supply.count for supply in plan.supplies),
        },
        "proposal": {
            "put_forward": assessment.proposal.chosen,
            "candidates": [_candidate(candidate) for candidate in assessment.proposal.candidates],
        },
    }


def _row(row: Row) -> dict[str, Any]:
    return {
        "number": row.number,
        "drug": row.drug.name,
        "drug_id": row.drug.id,
        "form": row.drug.form.value,
        "shake": row.drug.shake,
        "eye": row.side.value,
        "first": row.first.isoformat(),
        "last": row.last.isoformat(),
        "ends": row.ends.value,
        "steps": [
            {
                "first": phase.first.isoformat(),
                "last": phase.last.isoformat(),
                "times_a_day": phase.times_a_day,
                "drops_per_dose": phase.drops_per_dose,
            }
            for phase in row.phases
        ],
        "drops_before_surgery": row.drops_before_surgery,
        "drops": row.total,
        "reason": row.reason,
    }


def _supply(supply: Supply) -> dict[str, Any]:
    return {
        "drug": supply.drug.name,
        "rows": list(supply.rows),
        "eyes": [side.value for side in supply.sides],
        "container": supply.container,
        "count": supply.count,
        "drops": supply.drops,
        "ml": None if supply.ml is None else str(supply.ml),
        "opened": [opening.opened.isoformat() for opening in supply.openings],
        "discard_after": [opening.discard_after.isoformat() for opening in supply.openings],
        "drops_from_each": [opening.drops for opening in supply.openings],
    }


def _day(plan: DropPlan, day: Day, sessions: DaySessions) -> dict[str, Any]:
    return {
        "date": day.date.isoformat(),
        "day": day.number,
        "counts": {str(row.number): drops for row, drops in zip(plan.rows, day.counts, strict=True) if drops},
        "sessions": [
            {
                "time": session.at.strftime("%H:%M"),
                "landmark": moment_of(session.at, plan.landmarks).landmark.value,
                "minutes": session.minutes,
                "bottles": [number for number, _ in session.drops],
                "after_minutes": [offset for _, offset in session.drops],
            }
            for session in sessions.sessions
        ],
        "untimed": {str(number): drops for number, drops in sessions.untimed},
        "moved": list(sessions.moved),
        "total": day.total,
    }


def _told(told: Told) -> dict[str, Any]:
    return {
        "word": told.word,
        "drug": told.drug.name,
        "eye": told.side.value,
        "date": told.date.isoformat() if told.date else None,
        "number": told.number,
    }


def _candidate(candidate: Candidate) -> dict[str, Any]:
    return {
        "regimen": candidate.regimen.id,
        "may_be_proposed": candidate.may_be_proposed,
        "for": [{"situation": reason.situation.value, "facts": list(reason.facts)} for reason in candidate.reasons],
        "unsuited": [reason.situation.value for reason in candidate.unsuited],
        "for_others": candidate.for_others,
        "against": [{"id": f.id, "severity": f.severity, "facts": list(f.facts)} for f in candidate.against],
        "error": candidate.error,
    }
