"""``consent assess``: risks, points, drop plan and completeness on the terminal."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
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
    for line in _about_drops(data["drops"]):
        console.print(line)
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
    for name in ("", "point", "found", "what settles it", "key"):
        table.add_column(name)
    for point in points:
        answer = point["answer"]
        found = [*point["facts"], *([f"answered by {answer['by']}: {answer['why']}"] if answer else [])]
        table.add_row(point["severity"].upper(), point["title"], "; ".join(found), point["settle"], point["key"] or "-")
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
    for name in ("no.", "drug", "eye", "times a day", "last day", "drops", "bottles"):
        table.add_column(name, overflow="fold", no_wrap=name in ("drug", "last day"))
    supplies = {number: supply for supply in drops["bottles"] for number in supply["rows"]}
    for row in drops["rows"]:
        steps = "-".join(str(step["times_a_day"]) for step in row["steps"])
        supply = supplies[row["number"]]
        count = str(supply["count"]) if supply["rows"][0] == row["number"] else f"with {supply['rows'][0]}"
        table.add_row(str(row["number"]), row["drug"], row["eye"], steps, row["last"], str(row["drops"]), count)
    return table


def _about_drops(drops: dict[str, Any]) -> Iterator[str]:
    """Cautions of the drugs, what is not given, and what was put forward with what speaks for and against it."""
    for caution in drops["cautions"]:
        yield f"Caution, {caution['drug']}: {caution['says']} ({caution['source']}; {caution['verified']})"
    for told in drops["not_given"]:
        when = f" ({told['date']})" if told["date"] else ""
        yield f"Not given, {told['eye']} eye: {told['drug']}: {told['word']}{when}"
    for candidate in [c for c in drops["proposal"]["candidates"] if c["may_be_proposed"]][:3]:
        reasons = ", ".join(reason["situation"] for reason in candidate["for"]) or "for any patient"
        against = ", ".join(f"{finding['id']} ({finding['severity']})" for finding in candidate["against"]) or "nothing"
        yield f"Put forward: {candidate['regimen']}. For: {reasons}. Against: {against}."
