"""The clinic's settings file: read, checked as a whole, changed without losing its comments, and taken into use."""

from __future__ import annotations

import datetime as dt
import json
import tomllib
from collections.abc import Iterable, Mapping, MutableMapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from consent.case.reading import validate
from consent.clinic import Clinic
from consent.desk.fields import Field
from consent.desk.office import Office
from consent.desk.typed import NOTHING, at
from consent.drops.formulary import read_formulary
from consent.drops.regimens import find_regimen, read_regimens
from consent.errors import ClinicError, Problem
from consent.pack.files import write_whole
from consent.record.accounts import Account
from consent.record.settings_kept import keep_settings
from consent.review.point import check_clinic_elements, check_clinic_points
from consent.wording import remark


def own_file(office: Office) -> Path | None:
    """The file of the clinic's settings, if they can be changed here: the shipped invented ones cannot."""
    path = office.settings.clinic_file
    return path if path is not None and path.suffix.lower() == ".toml" else None


def text_of(path: Path) -> str:
    """What stands in the file."""
    try:
        return path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as failure:
        raise ClinicError(
            Problem("the settings file cannot be read", path.name, remedy="look at the file")
        ) from failure


def checked(text: str) -> Clinic:
    """The settings in ``text``, with what they name looked up. Raises ``ClinicError`` or ``DropsError``."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as failure:
        raise ClinicError(
            Problem(f"this is not TOML: {failure}", "settings", remedy="mend the line named")
        ) from failure
    clinic = validate(data, Clinic, ClinicError, "settings")
    regimens = read_regimens(clinic, read_formulary(clinic))
    find_regimen(regimens, clinic.drops.regimen, "settings: drops.regimen")
    check_clinic_points(clinic)
    check_clinic_elements(clinic)
    return clinic


def data_of_text(text: str) -> dict[str, Any]:
    """``text`` as JSON holds it: dates and times in ISO 8601."""
    data: dict[str, Any] = json.loads(json.dumps(tomllib.loads(text), default=lambda value: value.isoformat()))
    return data


def with_values(text: str, data: Mapping[str, Any], fields: Iterable[Field]) -> str:
    """``text`` with what ``data`` says to ``fields``; comments and everything else stay as they are."""
    import tomlkit

    document = tomlkit.parse(text)
    before = data_of_text(text)
    for field in fields:
        value = at(data, field.path)
        now = at(before, field.path)
        if value != now and not (now is NOTHING and value == field.default):
            _put(document, field.path.split("."), NOTHING if value is NOTHING else _as_toml(value, field))
    return tomlkit.dumps(document)


def _put(table: MutableMapping[str, Any], keys: list[str], value: Any) -> None:
    import tomlkit

    head, *rest = keys
    if rest:
        if head not in table:
            if value is NOTHING:
                return
            table[head] = tomlkit.table()
        _put(table[head], rest, value)
    elif value is NOTHING:
        table.pop(head, None)
    else:
        table[head] = value


def _as_toml(value: Any, field: Field) -> Any:
    if field.kind == "time":
        return dt.time.fromisoformat(value)
    return dt.date.fromisoformat(value) if field.kind == "date" else value


def take(office: Office, account: Account, before: str, after: str, why: str) -> None:
    """Keep ``after`` as the settings, write the file, and use them from the next page on."""
    path = own_file(office)
    if path is None:
        said = remark("problem.settings-fixed")
        raise ClinicError(Problem("these settings cannot be changed here", "settings", said=said))
    clinic = checked(after).beside(path)
    keep_settings(office.record, account, before, after, why, lambda: write_whole(path, after.encode()))
    office.use(replace(office.record, clinic=clinic))
