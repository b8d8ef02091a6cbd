"""Slips of the pen on the screens: answers that a case can hold and nobody can mean on the day they are typed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from typing import Any

from consent.desk.entry import Slip, Slips
from consent.desk.screens import found_on
from consent.desk.typed import at
from consent.wording import remark

_UPPER, _LOWER = "fitness.systolic_mmhg", "fitness.diastolic_mmhg"


def slips_on(today: dt.date) -> Slips:
    """What is a slip on ``today``: a day of measuring that is still to come, a lower pressure not below the upper."""

    def slips(data: Mapping[str, Any]) -> Iterator[Slip]:
        for path in found_on():
            day = at(data, path)
            if isinstance(day, str) and day > today.isoformat():
                yield Slip(path, remark("error.ahead", today=today), frozenset({path}))
        upper, lower = at(data, _UPPER), at(data, _LOWER)
        if isinstance(upper, int) and isinstance(lower, int) and lower >= upper:
            yield Slip(_LOWER, remark("error.lower-pressure"), frozenset({_UPPER, _LOWER}))

    return slips
