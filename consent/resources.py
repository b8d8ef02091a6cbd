"""The one place that knows where templates/ and locales/ are: a checkout, an editable install or a wheel."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from consent.errors import MachineError, Problem

_PACKAGE = Path(__file__).resolve().parent


@cache
def _bundle(name: str) -> Path:
    for candidate in (_PACKAGE / "_bundle" / name, _PACKAGE.parent / name):
        if candidate.is_dir():
            return candidate
    raise MachineError(
        Problem(
            what=f"the folder {name}/ of the program is missing",
            where=str(_PACKAGE),
            why="every sheet and every word comes from it",
            remedy="install the package again, or run from a complete checkout",
        )
    )


def templates() -> Path:
    """Folder of the sheet templates and styles."""
    return _bundle("templates")


def locales() -> Path:
    """Folder of the message catalogues."""
    return _bundle("locales")


def package_data(*parts: str) -> Path:
    """A data file or folder that lies beside the code, such as ``package_data("evidence", "series")``."""
    return _PACKAGE.joinpath(*parts)
