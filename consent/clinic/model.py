"""The clinic's own settings: who it is, what it accepts, and how it does things."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, PrivateAttr, model_validator

from consent.case.after import VisitKind
from consent.case.part import LanguageTag, LongText, Part, ShortText
from consent.case.reading import read_model
from consent.clinic.drop_defaults import drop_defaults
from consent.errors import ClinicError
from consent.resources import package_data


def _time_zone(name: str) -> str:
    from zoneinfo import ZoneInfo

    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        raise ValueError(f'"{name}" is not a time zone; write one such as "Asia/Kolkata"') from error
    return name


TimeZone = Annotated[str, AfterValidator(_time_zone), Field(description='IANA time zone, such as "Asia/Kolkata"')]
Days = Annotated[int, Field(ge=0, le=365)]


class Telephones(Part):
    day: ShortText
    night: ShortText


class AcceptedSeries(Part):
    """A series whose figures were not read in their primary source, accepted by name by the clinic's clinician."""

    series: ShortText
    by: ShortText
    registration: ShortText | None = None
    on: dt.date


class Audit(Part):
    """The centre's audited counts of capsule rupture or vitreous loss, all consecutive cases."""

    operations: int = Field(ge=1)
    events: int = Field(ge=0)
    expected_events: float | None = Field(
        None, gt=0, description="events the uncalibrated model expects for the same cases; none: the crude rate is used"
    )
    mean_composite: float | None = Field(
        None, ge=1, description="average composite odds ratio of the audited list, for a crude rate"
    )
    years: ShortText

    @model_validator(mode="after")
    def _no_more_events_than_operations(self) -> Audit:
        if self.events > self.operations:
            raise ValueError("audit: there cannot be more events than operations")
        if self.expected_events is not None and self.expected_events > self.operations:
            raise ValueError("audit: no more events can be expected than operations")
        return self


_SHIPPED = drop_defaults()


class DropSettings(Part):
    """How the clinic gives drops. Every value is a choice of the clinic; published advice disagrees."""

    drops_per_ml: float = Field(_SHIPPED.drops_per_ml.value, ge=10, le=60, description="planning value, drops per mL")
    wastage_percent: float = Field(_SHIPPED.wastage_percent.value, ge=0, le=100, description="drops lost, percent")
    days_after_opening: int = Field(
        _SHIPPED.days_after_opening.value, ge=1, le=365, description="use within, days after opening"
    )
    gap_minutes: int = Field(
        _SHIPPED.gap_minutes.value, ge=5, le=30, description="between two drops in the same eye, minutes"
    )
    ointment_gap_minutes: int = Field(
        _SHIPPED.ointment_gap_minutes.value, ge=10, le=30, description="before ointment, minutes"
    )
    close_eye_minutes: int = Field(
        _SHIPPED.close_eye_minutes.value, ge=1, le=5, description="eye closed after a drop, minutes"
    )
    times: Literal["even", "fewest sessions"] = "fewest sessions"
    long_standing_days: int = Field(
        _SHIPPED.long_standing_days.value, ge=7, le=180, description="days a long-standing drop stands on the calendar"
    )
    fresh_bottle_per_eye: bool = True
    regimen: ShortText = Field("weekly-4-3-2-1", description="what is proposed where nothing in the case asks for more")


_NOON = 12


class DayMarks(Part):
    """When the day's landmarks are, for people who do not read a clock. Waking and bed are the patient's own."""

    breakfast: dt.time = _SHIPPED.breakfast.value
    mid_morning: dt.time = _SHIPPED.mid_morning.value
    midday_meal: dt.time = _SHIPPED.midday_meal.value
    afternoon: dt.time = _SHIPPED.afternoon.value
    sunset: dt.time = _SHIPPED.sunset.value
    evening_meal: dt.time = _SHIPPED.evening_meal.value

    @model_validator(mode="after")
    def _in_order(self) -> DayMarks:
        moments = [getattr(self, name) for name in DayMarks.model_fields]
        if any(after <= before for before, after in pairwise(moments)):
            raise ValueError("day_marks: each must be later than the one before: " + ", ".join(DayMarks.model_fields))
        if self.sunset.hour < _NOON:
            raise ValueError("day_marks: sunset lies before noon; write it on the 24-hour clock, such as 18:00:00")
        return self


class Aftercare(Part):
    """Days of care after surgery. No default: a day the clinic has not set is printed as "ask us"."""

    shield_nights: Days | None = None
    no_water_in_eye_days: Days | None = None
    head_bath_from_day: Days | None = None
    no_heavy_lifting_days: Days | None = None
    no_dust_smoke_days: Days | None = None
    no_field_work_days: Days | None = None
    no_pond_bath_days: Days | None = None
    pray_seated_days: Days | None = None
    pad_off: Literal["same evening", "next morning", "at the clinic"] | None = None


class UsualVisit(Part):
    """A visit that the clinic gives everybody; put forward for a case, never entered by itself."""

    kind: VisitKind
    after_days: int = Field(ge=1, le=365, description="days after surgery")


class BeforeDay(Part):
    """What the patient is told for the day of surgery. No default: what the clinic has not set is a line to ask."""

    arrive_minutes: int | None = Field(None, ge=0, le=600, description="minutes before the operation to be there")
    no_food_hours: int | None = Field(None, ge=0, le=24, description="hours without food, eyes numbed awake; 0: none")


class PersonalData(Part):
    """The notice about personal data; a separate choice from the operation."""

    purpose: ShortText
    contact: ShortText


class ProfileApproval(Part):
    """Who approved a profile for use in this place: a clinician and a lawyer, by name and date."""

    profile: ShortText
    clinician: ShortText
    lawyer: ShortText
    on: dt.date


class LocalAddition(Part):
    """What local law adds to the form: its source, and the words by language tag, written by the clinic."""

    source: ShortText
    words: dict[str, LongText] = Field(min_length=1)


class Clinic(Part):
    """Settings of one clinic. ``formulary``, ``regimens`` and ``points`` are raw tables their own rooms check."""

    schema_version: Literal[1] = Field(alias="schema")
    invented: bool = Field(False, description="a demonstration clinic: every sheet says so")
    name: ShortText
    place: ShortText
    address: ShortText
    telephone: Telephones
    language: LanguageTag = "en"
    profile: Literal["IN", "UK", "US", "general"] = "IN"
    profile_approved: ProfileApproval | None = None
    required_elements: tuple[str, ...] = Field((), description="elements the clinic demands besides its profile")
    operation_minutes: int | None = Field(None, ge=5, le=240, description="how long the operation takes, minutes")
    local_additions: tuple[LocalAddition, ...] = ()
    population: Literal["south-asia", "uk"] = "south-asia"
    digits: Literal["locale", "latin"] = "locale"
    reviewed_words: LongText | None = Field(
        None,
        description="folder, seen from this file, with the clinic's own review of each language; words where not given",
    )
    accepted_series: tuple[AcceptedSeries, ...] = ()
    audit: Audit | None = None
    time_zone: TimeZone = "Asia/Kolkata"
    week_starts_on: Literal["sunday", "monday"] = Field(
        "sunday", description="first column of the month (CLDR: IN, sun)"
    )
    drops: DropSettings = DropSettings()
    day_marks: DayMarks = DayMarks()
    aftercare: Aftercare = Aftercare()
    usual_visits: tuple[UsualVisit, ...] = ()
    before: BeforeDay = BeforeDay()
    personal_data: PersonalData | None = None
    retention_years: int | None = Field(
        None, ge=1, le=100, description="years a record is kept after its last entry; law and protocol decide"
    )
    formulary: dict[str, dict[str, Any]] = Field(default_factory=dict)
    regimens: dict[str, dict[str, Any]] = Field(default_factory=dict)
    points: dict[str, dict[str, float]] = Field(default_factory=dict)
    _folder: Path | None = PrivateAttr(None)

    def beside(self, path: Path) -> Clinic:
        """These settings as those of the file at ``path``; where that is stands in no paper and no digest."""
        found = self.model_copy()
        found._folder = path.resolve().parent
        return found

    @property
    def words_folder(self) -> Path | None:
        """Folder of the clinic's own review of words, there or not; ``None`` for settings of no file."""
        return self._folder / (self.reviewed_words or "words") if self._folder else None

    def accepts(self, series: str) -> bool:
        """Whether the clinic's licensed clinician accepted ``series`` by name and date."""
        return any(accepted.series == series for accepted in self.accepted_series)


def read_clinic(path: Path | None = None) -> Clinic:
    """Return the settings in the TOML or JSON file at ``path``; without one, the shipped invented clinic.

    Raises ``ClinicError`` with one problem per fault.
    """
    found = path or package_data("clinic", "demo.toml")
    return read_model(found, Clinic, ClinicError).beside(found)


def clinic_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of a clinic's settings file, for editors."""
    schema = Clinic.model_json_schema(by_alias=True)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "Clinic", **schema}
