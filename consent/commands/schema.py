"""``consent schema``: the shape of the files people write."""

from __future__ import annotations

import argparse

from consent.case import case_schema
from consent.clinic import clinic_schema
from consent.commands import out


def run(options: argparse.Namespace) -> None:
    """Print the JSON Schema asked for."""
    out.as_json(case_schema() if options.what == "case" else clinic_schema())
