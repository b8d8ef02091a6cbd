"""That the WeasyPrint we reach into is the one we know: its version, and the source of what we replace or lean on."""

from __future__ import annotations

import inspect
from collections.abc import Mapping
from functools import cache
from hashlib import sha256
from importlib import import_module
from operator import attrgetter

from consent.errors import MachineError, Problem

VERSION = "70.0"


def need(known: Mapping[str, str], where: str) -> None:
    """Raises ``MachineError``, one problem a difference, where ``module:attribute`` of ``known`` has another digest.

    ``known``: the first 32 hexadecimal digits of the SHA-256 of each source. ``where`` names who leans on it.
    """
    import weasyprint

    found = [] if weasyprint.__version__ == VERSION else [f"this is WeasyPrint {weasyprint.__version__}, not {VERSION}"]
    found += [f"{name} is not as it was" for name, digest in known.items() if digest_of(name) != digest]
    if found:
        why, remedy = "a sheet would be printed in another way than was tested", f"pip install weasyprint=={VERSION}"
        raise MachineError(Problem(what, where, why, remedy) for what in found)


@cache
def digest_of(name: str) -> str:
    """The digest of the source of ``module:attribute``; empty if there is none."""
    module, _, attribute = name.partition(":")
    try:
        source = inspect.getsource(attrgetter(attribute)(import_module(module)))
    except (ImportError, AttributeError, OSError):
        return ""
    return sha256(source.encode()).hexdigest()[:32]
