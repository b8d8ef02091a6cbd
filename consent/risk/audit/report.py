"""Says what an audit found: lines and tables for a terminal, or one object for a program."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from consent.case import Answer
from consent.case.plain import printable
from consent.evidence import Cited
from consent.risk.audit.calibration import NO_SURGEON, Calibration, Tally
from consent.risk.audit.columns import audit_rules
from consent.risk.audit.picture import PER, calibration_lines, picture_limit, picture_tick
from consent.risk.audit.rows import Cases
from consent.risk.estimate import printed

_ROWS_NAMED = 5


@dataclass(frozen=True)
class Grid:
    """A table in words, ready to be drawn."""

    title: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def case_lines(cases: Cases, benchmark: Cited) -> tuple[str, ...]:
    """What was read and what was not, every reason a row was set aside, and the benchmark."""
    used, aside = len(cases.eyes), len(cases.set_aside)
    series = benchmark.series
    lines = [
        f"{used + aside} rows: {used} used, {aside} set aside.",
        "Columns read: " + "; ".join(f'"{name}" as {shown}' for name, shown in cases.read.items()),
    ]
    if cases.ignored:
        lines.append("Columns not known and ignored: " + ", ".join(f'"{name}"' for name in cases.ignored))
    if cases.absent:
        lines.append(f"No column, so unknown for every eye: {', '.join(cases.absent)}")
    lines += [f"Note: {remark}" for remark in cases.remarks]
    lines += [f"Set aside, {_rows(rows)}: {reason}" for reason, rows in cases.reasons.items()]
    if aside:
        lines.append(_unread_words(cases))
    lines.append(f"Benchmark: {printed(benchmark)} ({series.setting}, {series.years}) [{benchmark.reference}]")
    return (*lines, f"    {series.citation}")


def calibration_summary(found: Calibration) -> tuple[str, ...]:
    """Observed against expected, the raw rate, and the ratio raw and shrunk; 95 % limits throughout."""
    total = found.total
    lines = [f"Operations {total.operations}, events {total.events}, expected by the model {total.expected:.2f}"]
    if found.unknown:
        counts = ", ".join(f"{factor} {number}" for factor, number in found.unknown.items())
        lines.append(f"    with every unknown factor present {found.expected_at_most:.2f}; unknown: {counts}")
    low, high = total.rate_limits
    lines += [
        f"Raw rate {100 * total.rate:.2f} % (95 % Wilson {100 * low:.2f} to {100 * high:.2f} %)",
        f"Observed over expected {total.ratio:.3f} (95 % exact Poisson {_span(found.ratio_limits)})",
        f"Shrunk towards {found.scale.prior_mean:.3f} with the strength of {found.strength:g} events: "
        f"{found.shrunk:.3f} (95 % {_span(found.shrunk_limits)})",
    ]
    return tuple(lines)


def method_lines() -> tuple[str, ...]:
    """Where the method was published."""
    return audit_rules().method.citations


def report_data(cases: Cases, benchmark: Cited, found: Calibration | None) -> dict[str, Any]:
    """Everything that was read and found, as plain data; proportions from 0 to 1."""
    return {
        "rows": {
            "used": len(cases.eyes),
            "set_aside": len(cases.set_aside),
            "outside_the_model": _outside(cases),
            "unread": len(cases.unread),
            "unread_with_event": _unread(cases, Answer.YES),
            "unread_without_outcome": _unread(cases, Answer.UNKNOWN),
        },
        "columns": {"read": cases.read, "ignored": list(cases.ignored), "absent": list(cases.absent)},
        "remarks": list(cases.remarks),
        "set_aside": [{"row": entry.row.number, "reasons": list(entry.reasons)} for entry in cases.set_aside],
        "benchmark": {
            "rate": benchmark.figure.probability,
            "figure": benchmark.reference,
            "citation": benchmark.series.citation,
        },
        "calibration": _calibration_data(found) if found else None,
        "method": list(audit_rules().method.citations),
    }


def _calibration_data(found: Calibration) -> dict[str, Any]:
    return {
        **_tally_data(found.total),
        "expected_at_most": found.expected_at_most,
        "mean_composite": found.mean_composite,
        "ratio_limits": list(found.ratio_limits),
        "shrunk": found.shrunk,
        "shrunk_limits": list(found.shrunk_limits),
        "prior": {
            "mean": found.scale.prior_mean,
            "events": found.strength,
        },
        "unknown": found.unknown,
        "surgeons": [_surgeon_data(name, tally, found) for name, tally in found.surgeons.items()],
        "between_surgeons": found.between,
        "groups": [_tally_data(group) for group in found.groups],
    }


def _surgeon_data(name: str, tally: Tally, found: Calibration) -> dict[str, Any]:
    shrunk = found.surgeon_shrunk(tally) if name else None
    return {
        "surgeon": name or None,
        **_tally_data(tally),
        "shrunk": shrunk,
    }


def _tally_data(tally: Tally) -> dict[str, Any]:
    return {
        "operations": tally.operations,
        "events": tally.events,
        "expected": tally.expected,
        "ratio": tally.ratio,
        "rate": tally.rate,
        "rate_limits": list(tally.rate_limits),
    }


def surgeon_table(found: Calibration) -> Grid | None:
    """The surgeons, raw and shrunk towards the centre; None where the file names none."""
    if set(found.surgeons) == {NO_SURGEON}:
        return None
    rows = [
        (
            printable(name) or "not recorded",
            str(tally.operations),
            str(tally.events),
            f"{tally.expected:.2f}",
            f"{tally.ratio:.2f}",
            _towards_centre(found.surgeon_shrunk(tally) if name != NO_SURGEON else None),
        )
        for name, tally in found.surgeons.items()
    ]
    headings = ("surgeon", "operations", "events", "expected", "observed / expected", "shrunk")
    return Grid("By surgeon, raw and shrunk towards the centre; few operations say little", headings, tuple(rows))


def _towards_centre(shrunk: float | None) -> str:
    return "-" if shrunk is None else f"{shrunk:.2f}"


def group_table(found: Calibration) -> Grid:
    """The groups of rising risk: the caption of the picture."""
    rows = []
    for group in found.groups:
        low, high = (PER * end for end in group.rate_limits)
        rates = (f"{PER * group.expected_rate:.1f}", f"{PER * group.rate:.1f}", f"{low:.1f} to {high:.1f}")
        rows.append((str(group.operations), str(group.events), *rates))
    headings = ("operations", "events", "expected", "observed", "95 % Wilson")
    return Grid(f"By rising risk, per {PER:,} operations", headings, tuple(rows))


def picture_lines(found: Calibration) -> tuple[str, ...]:
    """The plot as text, what its signs mean, and what the picture without words shows."""
    return (
        *calibration_lines(found),
        "x expected, o observed, * both, - 95 % Wilson limits.",
        f"In the picture: groups from left to right; expected across, observed upwards, 0 to {picture_limit(found)} "
        f"per {PER:,}, a tick every {picture_tick(found)}; dashed, the model as published; solid, after this audit.",
    )


def why_not_written(cases: Cases) -> str | None:
    """Why rows that could not be read keep an audit out of the settings; None where nothing does."""
    limit, rows = audit_rules().limits.unread_percent, len(cases.eyes) + len(cases.set_aside)
    if _unread(cases, Answer.YES) or _unread(cases, Answer.UNKNOWN) or 100 * len(cases.unread) > limit * rows:
        return _unread_words(cases)
    return None


def _unread_words(cases: Cases) -> str:
    return (
        f"Set aside: {_outside(cases)} outside the model, {len(cases.unread)} that could not be read; of those, "
        f"{_unread(cases, Answer.YES)} have an event and {_unread(cases, Answer.UNKNOWN)} an outcome that could not be "
        "read. An audit leaves out no operation that the model covers: correct them and run this again."
    )


def _outside(cases: Cases) -> int:
    """Rows set aside because the model was not made on their operation."""
    return len(cases.set_aside) - len(cases.unread)


def _unread(cases: Cases, event: Answer) -> int:
    return sum(entry.event is event for entry in cases.unread)


def _rows(numbers: list[int]) -> str:
    more = f" and {len(numbers) - _ROWS_NAMED} more" if len(numbers) > _ROWS_NAMED else ""
    return f"row {', '.join(map(str, numbers[:_ROWS_NAMED]))}{more}"


def _span(limits: tuple[float, float]) -> str:
    return f"{limits[0]:.3f} to {limits[1]:.3f}"
