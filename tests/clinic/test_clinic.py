"""The clinic's settings: read as written, accepted series by exact name, every fault named with file and key."""

from __future__ import annotations

import copy
import datetime as dt
import json
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest

import consent
from consent.case.reading import validate
from consent.clinic import AcceptedSeries, Clinic, clinic_schema, read_clinic
from consent.clinic.drop_defaults import drop_defaults
from consent.clinic.model import DayMarks, DropSettings
from consent.errors import CaseError, ClinicError, Problem

DEMO = Path(consent.__file__).parent / "clinic" / "demo.toml"
DRAFT = jsonschema.Draft202012Validator
REMOVED = object()


def raw(**changes: object) -> dict[str, Any]:
    """The shipped clinic as TOML gives it; ``drops__gap_minutes=3`` sets ``drops.gap_minutes``."""
    data = copy.deepcopy(tomllib.loads(DEMO.read_text(encoding="utf-8")))
    for key, value in changes.items():
        *path, last = key.split("__")
        table = data
        for part in path:
            table = table.setdefault(part, {})
        if value is REMOVED:
            del table[last]
        else:
            table[last] = value
    return data


def accepted(data: dict[str, Any]) -> Clinic:
    return validate(data, Clinic, ClinicError, "clinic.toml")


def problems(data: dict[str, Any]) -> tuple[Problem, ...]:
    with pytest.raises(ClinicError) as caught:
        accepted(data)
    return caught.value.problems


def as_json(data: dict[str, Any]) -> Any:
    return json.loads(json.dumps(data, default=lambda day: day.isoformat()))


def leaves(value: object, path: tuple[str | int, ...] = ()) -> Iterator[tuple[tuple[str | int, ...], object]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from leaves(inner, (*path, key))
    elif isinstance(value, list | tuple):
        for index, inner in enumerate(value):
            yield from leaves(inner, (*path, index))
    else:
        yield path, value


def test_the_demo_clinic_holds_every_value_of_its_file() -> None:
    # Source of each expected value: the shipped file itself, read by the standard library's TOML reader.
    held, written = dict(leaves(read_clinic().model_dump(by_alias=True))), dict(leaves(raw()))
    assert len(written) > 30
    assert {path: held.get(path, "absent") for path in written} == written


def test_the_demo_clinic_says_that_it_is_invented() -> None:
    assert read_clinic().invented
    assert "invented" in read_clinic().name


def test_a_clinic_of_ones_own_is_read_from_its_file(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    text = DEMO.read_text(encoding="utf-8").replace("Nodipar Eye Centre (invented)", "Another Centre", 1)
    file.write_text(text, encoding="utf-8")
    assert read_clinic(file).name == "Another Centre"


def test_toml_and_json_are_equal(tmp_path: Path) -> None:
    file = tmp_path / "clinic.json"
    file.write_text(json.dumps(as_json(raw())), encoding="utf-8")
    assert read_clinic(file).beside(DEMO) == read_clinic(DEMO)


def test_a_series_is_accepted_by_its_exact_name_only() -> None:
    # The file names two series with a clinician and a date; a similar name is another series.
    clinic = accepted(raw())
    assert [entry["series"] for entry in raw()["accepted_series"]] == ["narendran-2009", "chu-2016"]
    assert clinic.accepts("narendran-2009")
    assert clinic.accepts("chu-2016")
    for name in ("narendran", "narendran-2009/model", "Narendran-2009", "lundstrom-2013", ""):
        assert not clinic.accepts(name)


def test_a_clinic_that_accepted_nothing_accepts_nothing() -> None:
    assert not accepted(raw(accepted_series=[])).accepts("narendran-2009")
    assert not accepted(raw(accepted_series=REMOVED)).accepts("narendran-2009")


def test_one_more_acceptance_is_enough() -> None:
    clinic = accepted(raw())
    entry = AcceptedSeries(series="lundstrom-2013", by="Dr Invented", on=dt.date(2027, 1, 1))
    more = clinic.model_copy(update={"accepted_series": (*clinic.accepted_series, entry)})
    assert more.accepts("lundstrom-2013")
    assert not clinic.accepts("lundstrom-2013")


def test_days_the_clinic_has_not_set_have_no_value() -> None:
    # No number of days of care has a source that all clinics share, so none is filled in for a clinic that set none.
    aftercare = accepted(raw(aftercare=REMOVED)).aftercare
    assert set(aftercare.model_dump().values()) == {None}


def test_a_clinic_without_an_audit_has_none() -> None:
    assert accepted(raw()).audit is None


AUDIT = {"operations": 500, "events": 4, "expected_events": 9.0, "years": "2025"}


def test_an_audit_without_events_is_possible() -> None:
    # Hanley and Lippman-Hand 1983, JAMA 249:1743-1745: no event in n operations is an ordinary result.
    audit = accepted(raw(audit={**AUDIT, "events": 0})).audit
    assert audit is not None
    assert audit.events == 0


@pytest.mark.parametrize(
    ("changes", "key", "said"),
    [
        ({"population": "south asia"}, "population", "south-asia"),
        ({"population": "mars"}, "population", "'south-asia' or 'uk'"),
        ({"profile": "XX"}, "profile", "IN"),
        ({"digits": "roman"}, "digits", "'locale' or 'latin'"),
        ({"language": "xx-nowhere"}, "language", "language tag"),
        ({"name": ""}, "name", "at least 1 character"),
        ({"telephone__night": REMOVED}, "telephone.night", "needed"),
        ({"telephone": "00000"}, "telephone", "object"),
        ({"adress": "Station Road"}, "adress", '"address"'),
        ({"drops__gap_minutes": 4}, "drops.gap_minutes", "minutes"),
        ({"drops__drops_per_ml": 61.0}, "drops.drops_per_ml", "drops per mL"),
        ({"drops__wastage_percent": 101.0}, "drops.wastage_percent", "percent"),
        ({"drops__days_after_opening": 0}, "drops.days_after_opening", "days"),
        ({"drops__times": "whenever"}, "drops.times", "'even' or 'fewest sessions'"),
        ({"aftercare__shield_nights": -1}, "aftercare.shield_nights", "greater than or equal to 0"),
        ({"aftercare__shield_nights": 366}, "aftercare.shield_nights", "less than or equal to 365"),
        ({"aftercare__pad_off": "never"}, "aftercare.pad_off", "next morning"),
        ({"audit": {**AUDIT, "operations": 0}}, "audit.operations", "greater than or equal to 1"),
        ({"audit": {**AUDIT, "events": -1}}, "audit.events", "greater than or equal to 0"),
        ({"audit": {**AUDIT, "expected_events": 0.0}}, "audit.expected_events", "greater than 0"),
        ({"audit": {**AUDIT, "events": 4.5}}, "audit.events", "integer"),
        ({"audit": {"operations": 500, "events": 4}}, "audit.years", "needed"),
        ({"audit": {**AUDIT, "events": 501}}, "audit", "more events than operations"),
        ({"accepted_series": [{"series": "chu-2016", "by": "Dr A"}]}, "accepted_series.0.on", "needed"),
        ({"accepted_series": [{"series": "chu-2016", "on": "2026-11-01"}]}, "accepted_series.0.by", "needed"),
        ({"points": {"pupil": {"mm": "five"}}}, "points.pupil.mm", "number"),
    ],
)
def test_a_fault_names_file_key_and_what_is_allowed(changes: dict[str, Any], key: str, said: str) -> None:
    found = problems(raw(**changes))
    assert [fault.where for fault in found] == [f"clinic.toml: {key}"]
    assert said in f"{found[0].what} {found[0].remedy}"


def test_all_faults_are_reported_together() -> None:
    found = problems(raw(population="mars", name=REMOVED, drops__gap_minutes=99, audit={**AUDIT, "events": -4}))
    keys = ("population", "name", "drops.gap_minutes", "audit.events")
    assert sorted(fault.where for fault in found) == sorted(f"clinic.toml: {key}" for key in keys)


def test_a_fault_of_the_clinic_is_not_a_fault_of_the_case(tmp_path: Path) -> None:
    file = tmp_path / "clinic.toml"
    file.write_text("schema = 2\n", encoding="utf-8")
    with pytest.raises(ClinicError, match="schema = 2") as caught:
        read_clinic(file)
    assert not isinstance(caught.value, CaseError)
    with pytest.raises(ClinicError, match="No such file"):
        read_clinic(tmp_path / "absent.toml")


# The published JSON Schema. Source: the meta-schema of draft 2020-12, as python-jsonschema ships it.


def faults(data: object) -> list[str]:
    return [error.json_path for error in DRAFT(clinic_schema()).iter_errors(data)]


def test_the_schema_is_valid_draft_2020_12() -> None:
    assert clinic_schema()["$schema"] == DRAFT.META_SCHEMA["$id"]
    DRAFT.check_schema(clinic_schema())


def test_the_schema_accepts_the_demo_clinic() -> None:
    assert faults(as_json(raw())) == []


@pytest.mark.parametrize(
    ("changes", "path"),
    [
        ({"unheard_of": 1}, "$"),
        ({"drops__unheard_of": 1}, "$.drops"),
        ({"population": "mars"}, "$.population"),
        ({"audit": {**AUDIT, "expected_events": 0}}, "$.audit"),
        ({"drops__gap_minutes": 4}, "$.drops.gap_minutes"),
        ({"telephone__night": REMOVED}, "$.telephone"),
    ],
)
def test_what_the_schema_rejects_the_reader_rejects_too(changes: dict[str, Any], path: str) -> None:
    data = raw(**changes)
    assert faults(as_json(data)) == [path]
    assert len(problems(data)) == 1


# What a clinic that has set nothing gets. Drops per mL: Moore et al, BMC Ophthalmol 2017;17:78, lowest of 32 bottle
# designs 20.9 drops per mL. Days after opening: 28, British Pharmacopoeia rule. Gap: Chrai et al, J Pharm Sci
# 1974;63:333.


def test_drop_settings_left_out_are_the_shipped_ones_and_each_has_its_ground():
    shipped = drop_defaults()
    settings, marks = DropSettings(), DayMarks()
    for name in type(shipped).model_fields:
        entry = getattr(shipped, name)
        assert getattr(marks if name in DayMarks.model_fields else settings, name) == entry.value
        assert entry.source
        assert entry.verified
    assert settings.drops_per_ml < 20.9
    assert (settings.days_after_opening, settings.gap_minutes) == (28, 5)
    assert shipped.ointment_gap_minutes.verified == "common practice, no source"
