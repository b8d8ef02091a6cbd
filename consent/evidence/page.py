"""For contributors: writes what is in the library into DEVELOPERS.md (``python -m consent.evidence.page``)."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

from consent.errors import EvidenceError, Problem
from consent.evidence.library import Library, library
from consent.evidence.model import Series, Use, Verified
from consent.resources import package_data

BEGIN, END = "<!-- evidence library: generated -->", "<!-- end -->"
_HEAD = ("| series | years | region | figures | least checked | used for |", "| --- | --- | --- | --- | --- | --- |")

Default = tuple[str, Verified, str | None]
"""What drives a default: where it stands, how far it was checked, where a quoted one was read."""


def library_page(of: Library) -> str:
    """The library as Markdown: a row for every series, then what drives a default and how far it was checked."""
    defaults = [default for series in of for default in _defaults(series)]
    figures = sum(len(series.figures) for series in of)
    return "\n".join(
        (
            f"{len(of.series)} series with {figures} figures; {len(defaults)} figures and models drive a default.",
            "",
            *_HEAD,
            *(_row(series) for series in of),
            "",
            "What drives a default, and how far it was checked:",
            "",
            *_checked(defaults),
        )
    )


def _row(series: Series) -> str:
    checked = [figure.verified for figure in series.figures]
    uses = {figure.use for figure in series.figures}
    held = [str(len(series.figures))]
    if series.model:
        checked.append(series.model.verified)
        uses.add(series.model.use)
        held.append("a model")
    if series.score:
        held.append("a score")
    least = max(checked, key=list(Verified).index)
    used = ", ".join(use.value for use in Use if use in uses)
    cells = (series.id, series.years, series.region, ", ".join(held), least.value, used)
    return f"| {' | '.join(_plain(cell) for cell in cells)} |"


def _defaults(series: Series) -> Iterator[Default]:
    for figure in series.figures:
        if figure.use is Use.DEFAULT:
            yield f"{series.id}/{figure.id}", figure.verified, figure.read_in
    if series.model and series.model.use is Use.DEFAULT:
        yield f"{series.id}/model", series.model.verified, series.model.read_in


def _checked(defaults: list[Default]) -> Iterator[str]:
    """One line for all that was read in the paper itself, by degree; one line each for what was not."""
    for kind in Verified:
        found = [default for default in defaults if default[1] is kind]
        if found and kind.is_primary:
            yield f"- {kind.value}: {', '.join(f'`{reference}`' for reference, _, _ in found)}"
        elif found:
            yield from (
                f"- {kind.value}: `{reference}`{f', read in {_plain(place)}' if place else ''}"
                for reference, _, place in found
            )


def _plain(text: str) -> str:
    """``text`` with what would end a cell or begin a tag taken out of Markdown's hands."""
    return text.replace("\\", "\\\\").replace("|", "\\|").replace("<", "&lt;")


def with_page(text: str, page: str) -> str:
    """``text`` with ``page`` between its two markers; raises ``EvidenceError`` where they are not there once each."""
    before, begin, rest = text.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not (begin and end) or BEGIN in rest or END in before + after:
        what = "the markers of the generated part are not there once each"
        raise EvidenceError(Problem(what, "DEVELOPERS.md", remedy=f"write {BEGIN} and, below it, {END}"))
    return f"{before}{begin}\n\n{page}\n\n{end}{after}"


def developers() -> Path:
    """DEVELOPERS.md of the checkout this program runs from."""
    return package_data().parent / "DEVELOPERS.md"


def main(path: Path | None = None) -> int:
    """Rewrites the generated part of ``path``, DEVELOPERS.md of the checkout if none, and returns the exit code."""
    path = path or developers()
    try:
        path.write_text(with_page(path.read_text(encoding="utf-8"), library_page(library())), encoding="utf-8")
    except OSError as failure:
        sys.stderr.write(f"{path}: {failure.strerror}; run this in a checkout\n")
        return EvidenceError.exit_code
    except EvidenceError as error:
        sys.stderr.write(f"{error}\n")
        return error.exit_code
    sys.stdout.write(f"{path}: written\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
