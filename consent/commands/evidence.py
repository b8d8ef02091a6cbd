"""``consent evidence``: what is in the library and how far to trust it."""

from __future__ import annotations

import argparse
import difflib

from consent.commands import out
from consent.errors import Problem, UsageError
from consent.evidence import Series, Verified, library


def run(options: argparse.Namespace) -> None:
    """List the series, or print one with every figure, or every figure of one outcome."""
    chosen = [library().one(options.series)] if options.series else list(library())
    if options.outcome:
        chosen = _about(_outcome(options.outcome), chosen)
    if options.unverified:
        chosen = [series for series in chosen if _weak(series)]
    if options.json:
        out.as_json([series.model_dump(mode="json", exclude_none=True) for series in chosen])
    elif options.series or options.outcome or options.unverified:
        for series in chosen:
            _one(series, options.unverified)
    else:
        for series in chosen:
            _line(series)
    if not chosen:
        out.chatter("No figure of the library answers to all of this.")


def _outcome(name: str) -> str:
    """``name``, if the library has a figure of that outcome; raises ``UsageError`` naming the nearest."""
    known = {figure.outcome for series in library() for figure in series.figures}
    if name in known:
        return name
    near = difflib.get_close_matches(name, sorted(known), n=1)
    remedy = f'did you mean "{near[0]}"?' if near else f"there are: {', '.join(sorted(known))}"
    raise UsageError(Problem(f'the library has no figure of an outcome "{name}"', "--outcome", remedy=remedy))


def _about(outcome: str, among: list[Series]) -> list[Series]:
    """The series with a figure of ``outcome``, each cut down to those figures and what is built on them alone."""
    found = []
    for series in among:
        figures = tuple(figure for figure in series.figures if figure.outcome == outcome)
        model = series.model if series.model and series.model.outcome == outcome else None
        score = series.score if series.score and series.score.overall in {figure.id for figure in figures} else None
        if figures:
            found.append(series.model_copy(update={"figures": figures, "model": model, "score": score}))
    return found


def _weak(series: Series) -> bool:
    figures = any(not figure.verified.is_primary for figure in series.figures)
    return figures or (series.model is not None and not series.model.verified.is_primary)


def _line(series: Series) -> None:
    worst = max((figure.verified for figure in series.figures), key=_order)
    out.data(f"{series.id:32} {len(series.figures):3} figures  {worst.value:16} {series.years:12} {series.setting}")


def _order(verified: Verified) -> int:
    return list(Verified).index(verified)


def _one(series: Series, only_weak: bool) -> None:
    identifier = f"doi:{series.doi}" if series.doi else f"PMID {series.pmid}" if series.pmid else "no identifier known"
    out.data(f"{series.id}\n    {series.citation} {identifier}")
    if series.citation_note:
        out.data(f"    {series.citation_note}")
    out.data(f"    {series.design}; {series.setting}; {series.years}\n    counted: {series.definition}")
    for figure in series.figures:
        if only_weak and figure.verified.is_primary:
            continue
        unit = " %" if figure.unit == "percent" else ""
        value = f"{figure.value:g}{unit}" if figure.value is not None else "range"
        span = f" ({figure.low:g} to {figure.high:g})" if figure.low is not None and figure.high is not None else ""
        out.data(
            f"    {figure.id}: {value}{span}; {figure.group}; {figure.horizon}; {figure.verified.value}; {figure.use}"
        )
    if series.model:
        for factor in series.model.factors:
            ratios = ", ".join(f"{level.id} {level.odds_ratio:g}" for level in factor.levels)
            out.data(f"    odds ratios, {factor.id}: {ratios}; {series.model.verified.value}")
    for note in series.notes:
        out.data(f"    note: {note}")
