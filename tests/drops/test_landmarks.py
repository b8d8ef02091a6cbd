"""Landmarks of the day: which there are, how a time is named by them, and times put on them, by hand.

The shipped day: breakfast 08:00, mid-morning 10:30, midday meal 13:00, afternoon 15:30, sunset 18:00, evening meal
20:00; waking and bed are the patient's.
"""

from __future__ import annotations

import datetime as dt

import pytest

from consent.clinic import Clinic
from consent.clinic.model import DayMarks
from consent.drops.landmarks import Landmark, landmarks_of, moment_of
from consent.drops.spacing import Waking, own_times, shared_times
from tests.drops.slow_engine import is_even_enough, minutes, picks, unevenness

USUAL = DayMarks()


def day(first: str, last: str) -> Waking:
    """Waking hours with the landmarks of a usual day."""
    plain = Waking(dt.time.fromisoformat(first), dt.time.fromisoformat(last), 15)
    marks = tuple(minutes(clock) for _, clock in landmarks_of(plain, USUAL))
    return Waking(plain.first, plain.last, 15, marks)


def clocks(times: tuple[dt.time, ...]) -> str:
    """As printed."""
    return " ".join(f"{clock:%H:%M}" for clock in times)


def test_landmarks_of_a_usual_day() -> None:
    """All eight, waking and bed at the ends."""
    found = landmarks_of(Waking(dt.time(7), dt.time(22), 15), USUAL)
    assert [name for name, _ in found] == list(Landmark)
    assert clocks(tuple(clock for _, clock in found)) == "07:00 08:00 10:30 13:00 15:30 18:00 20:00 22:00"


def test_landmarks_near_waking_or_bed_are_left_out() -> None:
    """Waking at 07:30, bed at 20:30: breakfast and the evening meal lie half an hour from them and are left out."""
    found = [name for name, _ in landmarks_of(Waking(dt.time(7, 30), dt.time(20, 30), 15), USUAL)]
    assert Landmark.BREAKFAST not in found
    assert Landmark.EVENING_MEAL not in found
    found = [name for name, _ in landmarks_of(Waking(dt.time(7, 15), dt.time(20, 45), 15), USUAL)]
    assert Landmark.BREAKFAST in found
    assert Landmark.EVENING_MEAL in found


def test_the_clinics_own_landmarks_are_used(clinic: Clinic) -> None:
    """A sunset at 17:15 in winter."""
    winter = DayMarks(sunset=dt.time(17, 15))
    found = dict(landmarks_of(Waking(dt.time(7), dt.time(22), 15), winter))
    assert found[Landmark.SUNSET] == dt.time(17, 15)
    with pytest.raises(ValueError, match="later than the one before"):
        DayMarks(sunset=dt.time(12))


# 07:00-22:00; gaps in brackets, of which the longest is at most twice the shortest
BY_HAND = {
    1: "07:00",
    2: "07:00 22:00",
    # 8 h 30 and 6 h 30 (15:30) or 6 h and 9 h (13:00): the first is more even
    3: "07:00 15:30 22:00",
    # 3 h 30, 5 h, 6 h 30 differ by 3 h; 6 h, 5 h, 4 h (13:00 18:00) by 2 h
    4: "07:00 13:00 18:00 22:00",
    # 3 h 30, 5 h, 2 h 30, 4 h and 3 h 30, 2 h 30, 5 h, 4 h differ by 2 h 30 alike: the earlier one
    5: "07:00 10:30 13:00 18:00 22:00",
    # 3 h 30, 2 h 30, 2 h 30, 2 h 30, 4 h: 1 h 30
    6: "07:00 10:30 13:00 15:30 18:00 22:00",
    # 3 h 30, 2 h 30, 2 h 30, 2 h 30, 2 h, 2 h: 1 h 30, and no other choice of seven is even enough
    7: "07:00 10:30 13:00 15:30 18:00 20:00 22:00",
    # all eight would have gaps of 1 h and 2 h 30: even times instead
    8: "07:00 09:15 11:15 13:30 15:30 17:45 19:45 22:00",
}


@pytest.mark.parametrize("times_a_day", sorted(BY_HAND))
def test_times_on_landmarks_by_hand(times_a_day: int) -> None:
    """The most even choice from waking to bed, else even times."""
    assert clocks(own_times(times_a_day, day("07:00", "22:00"))) == BY_HAND[times_a_day]


@pytest.mark.parametrize("window", [("05:00", "21:00"), ("06:15", "22:30"), ("07:40", "20:10"), ("08:00", "19:00")])
@pytest.mark.parametrize("times_a_day", range(2, 11))
def test_times_on_landmarks_are_the_best_there_are(times_a_day: int, window: tuple[str, str]) -> None:
    """Against every choice of so many landmarks that begins at waking and ends at bed."""
    waking = day(*window)
    ends = waking.first_minute, waking.last_minute
    choices = [c for c in picks(waking.marks, times_a_day) if (c[0], c[-1]) == ends and is_even_enough(c)]
    found = tuple(map(minutes, own_times(times_a_day, waking)))
    if choices:
        assert found in choices
        assert unevenness(found) == min(map(unevenness, choices))
    else:
        assert unevenness(found) <= 15


def test_without_landmarks_times_are_even() -> None:
    """The same hours for people who read a clock."""
    assert clocks(own_times(4, Waking(dt.time(7), dt.time(22), 15))) == "07:00 12:00 17:00 22:00"


def test_shared_times_stay_on_landmarks() -> None:
    """Four times a day on the six landmarks of a six-times drug: 3 h 30, 5 h, 6 h 30 is nearest and even enough."""
    waking = day("07:00", "22:00")
    grid = own_times(6, waking)
    found = shared_times(own_times(4, waking), grid)
    assert set(found) <= set(grid)
    assert clocks(found) == "07:00 13:00 18:00 22:00"


@pytest.mark.parametrize(
    ("clock", "landmark", "exact"),
    [
        ("07:00", Landmark.WAKING, True),
        ("08:30", Landmark.BREAKFAST, True),
        ("08:31", Landmark.BREAKFAST, False),
        ("09:15", Landmark.BREAKFAST, False),
        ("12:00", Landmark.MID_MORNING, False),
        ("12:30", Landmark.MIDDAY_MEAL, True),
        ("17:00", Landmark.AFTERNOON, False),
        ("17:45", Landmark.SUNSET, True),
        ("22:00", Landmark.BED, True),
    ],
)
def test_a_time_is_named_by_the_landmark_near_it_or_before_it(clock: str, landmark: Landmark, exact: bool) -> None:
    """Within half an hour at it, else after the last one."""
    found = moment_of(dt.time.fromisoformat(clock), landmarks_of(Waking(dt.time(7), dt.time(22), 15), USUAL))
    assert (found.landmark, found.exact) == (landmark, exact)


def test_every_time_of_a_usual_day_has_a_name() -> None:
    """Each quarter of an hour: a landmark at most half an hour away, or the last one before it."""
    marks = landmarks_of(Waking(dt.time(7), dt.time(22), 15), USUAL)
    for minute in range(7 * 60, 22 * 60 + 1, 15):
        found = moment_of(dt.time(*divmod(minute, 60)), marks)
        at = minutes(dict(marks)[found.landmark])
        assert found.exact == (min(abs(minutes(clock) - minute) for _, clock in marks) <= 30)
        assert abs(at - minute) <= 30 if found.exact else at < minute
