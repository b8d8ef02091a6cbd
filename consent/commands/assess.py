"""``consent assess``: risks, points, drop plan and completeness on the terminal."""

from __future__ import annotations

import argparse
from typing import Any

from consent.commands import out
from consent.commands.settings import read_both
from consent.pack import assessment_data, compose_pack


def run(options: argparse.Namespace) -> None:
    """Print the assessment, as tables or as one JSON object."""
    case, clinic = read_both(options.case, options.clinic)
    data = assessment_data(compose_pack(case, clinic))
    if options.json:
        out.as_json(data)
        return
    _tables(data)


def _tables(data: dict[str, Any]) -> None:
    from rich.console import Console

    console = Console()
    console.print(_points(data["points"]))
    console.print(_risks(data["risks"]))
    console.print(_drops(data["drops"]))
    missing = [row for row in data["completeness"] if row["met"] is False]
    met = sum(row["met"] is True for row in data["completeness"])
    console.print(f"Completeness: {met} met, {len(missing)} unmet{_names(missing)}")
    practice = sorted({w["language"] for w in data["translations"] if not w["may_be_signed"]})
    if practice:
        console.print(f"Practice copies, not for signing, in: {', '.join(practice)}")
    console.print("Draft for review by the licensed clinician.")


def _names(rows: list[dict[str, Any]]) -> str:
    return ": " + ", ".join(f"{row['element']} ({row['level']})" for row in rows) if rows else ""


def _points(points: list[dict[str, Any]]) -> Any:
    from rich.table import Table

    table = Table(title="Points for the surgeon", title_justify="left")
    for name in ("", "point", "found", "what settles it"):
        table.add_column(name)
    for point in points:
        table.add_row(point["severity"].upper(), point["title"], "; ".join(point["facts"]), point["settle"])
    return table


def _risks(risks: list[dict[str, Any]]) -> Any:
    from rich.table import Table

    table = Table(title="Per 1,000 operated eyes", title_justify="left")
    for name in ("outcome", "this eye", "range", "usual eye", "least checked"):
        table.add_column(name)
    for risk in risks:
        span = risk["interval"]
        worst = max((s["verified"] for s in risk["sources"]), key=_RANK.index, default="-")
        spread = f"{_rate(span['low'])} to {_rate(span['high'])}" if span else "not read"
        own = _rate(risk["probability"]) if risk["known"] else "not known" if risk["applies"] else "does not apply"
        table.add_row(risk["outcome"], own, spread if risk["known"] else "-", _rate(risk["usual"]), worst)
    return table


_RANK = ["full-text table", "abstract", "quoted", "memory"]


def _rate(value: float | None) -> str:
    return "-" if value is None else f"{1000 * value:.3g}"


def _drops(drops: dict[str, Any]) -> Any:
    from rich.table import Table

    table = Table(title=f"Drops: {drops['regimen']}", title_justify="left")
    for name in ("bottle", "drug", "eye", "times a day", "last day", "drops"):
        table.add_column(name)
    for row in drops["rows"]:
        steps = "-".join(str(step["times_a_day"]) for step in row["steps"])
        table.add_row(str(row["number"]), row["drug"], row["eye"], steps, row["last"], str(row["drops"]))
    return table
