"""Which test holds which of the 46 invariants of a drop schedule.

1-9 structure, 10-15 counting, 16-22 time of day, 23-29 bottles, 30-37 safety, 38-43 presentation, 44-46 changes.
Random orders: ``random_orders.py``; what is checked on each of them: ``drop_checks.py``, run here on 300 plans made
once, by Hypothesis, and on 20,000 in ``test_slow_engine.py``.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from tests.property import drop_checks

TESTS = Path(__file__).resolve().parents[1]
STRUCTURE, COUNTING, TIMES, BOTTLES, SAFETY, PRESENTATION, CHANGES = (
    f"property/test_drop_invariants_{name}.py"
    for name in ("structure", "counting", "times", "bottles", "safety", "presentation", "changes")
)
EXAMPLES, JSON = "published/test_drop_examples.py", "published/test_drop_examples_json.py"
PAPER, PAGES, CALENDAR = "render/test_paper.py", "render/test_pages.py", "compose/test_drop_calendar.py"

TABLE: dict[int, tuple[tuple[str, str], ...]] = {
    1: (
        (STRUCTURE, "test_rows_are_complete"),
        (STRUCTURE, "test_an_item_without_one_of_its_parts_is_refused"),
        (STRUCTURE, "test_a_step_without_one_of_its_numbers_is_refused"),
    ),
    2: ((STRUCTURE, "test_eye_is_right_or_left"), (STRUCTURE, "test_an_eye_in_other_words_is_refused")),
    3: ((STRUCTURE, "test_no_eye_beyond_those_entered"), (STRUCTURE, "test_each_eye_counts_double")),
    4: ((STRUCTURE, "test_dates_follow_surgery"), (STRUCTURE, "test_days_over_a_leap_day_by_hand")),
    5: (
        (STRUCTURE, "test_phases_touch"),
        (STRUCTURE, "test_a_gap_or_an_overlap_is_refused"),
        (STRUCTURE, "test_a_pause_on_purpose_has_no_drop"),
    ),
    6: ((STRUCTURE, "test_courses_never_rise"), (STRUCTURE, "test_a_rise_is_refused")),
    7: (
        (STRUCTURE, "test_every_row_ends"),
        (STRUCTURE, "test_a_course_until_review_ends_on_the_day_of_the_review"),
        (STRUCTURE, "test_an_end_nobody_knows_is_refused"),
    ),
    8: ((STRUCTURE, "test_nothing_too_early"),),
    9: (
        (STRUCTURE, "test_drops_before_surgery_stand_apart"),
        (STRUCTURE, "test_drops_before_surgery_by_hand"),
    ),
    10: ((COUNTING, "test_counts_are_the_formula"), (EXAMPLES, "test_worked_example_routine_eye")),
    11: ((COUNTING, "test_daily_totals_add_up"), (JSON, "test_days")),
    12: ((COUNTING, "test_silent_days_are_noughts"),),
    13: ((COUNTING, "test_as_many_times_as_doses"), (COUNTING, "test_a_telephone_holds_every_drop")),
    14: (
        (COUNTING, "test_order_of_the_drugs_changes_no_number"),
        (COUNTING, "test_language_and_size_of_print_change_no_number"),
    ),
    15: ((COUNTING, "test_the_same_order_makes_the_same_plan"), (COUNTING, "test_the_same_case_makes_the_same_bytes")),
    16: ((TIMES, "test_times_inside_the_day"),),
    17: (
        (TIMES, "test_gaps_are_even"),
        (TIMES, "test_even_times_of_every_window"),
        (TIMES, "test_times_lie_on_landmarks"),
    ),
    18: ((TIMES, "test_drops_lie_apart"),),
    19: ((TIMES, "test_thin_drops_first"),),
    20: ((TIMES, "test_fewest_sittings"), (TIMES, "test_a_bedtime_dose_adds_a_sitting_on_purpose")),
    21: ((TIMES, "test_length_of_sittings"), (TIMES, "test_a_sitting_over_twenty_minutes_is_warned_of")),
    22: (
        (TIMES, "test_times_a_day_is_not_every_so_many_hours"),
        (TIMES, "test_no_sheet_says_every_so_many_hours"),
    ),
    23: ((BOTTLES, "test_enough_is_handed_out"),),
    24: ((BOTTLES, "test_nothing_from_an_old_bottle"),),
    25: ((BOTTLES, "test_never_fewer_than_the_volume"), ("property/test_drops.py", "test_bottles_drop_by_drop")),
    26: ((BOTTLES, "test_bottles_carry_their_dates"), (JSON, "test_bottles")),
    27: ((BOTTLES, "test_eyes_do_not_share"), (BOTTLES, "test_a_fresh_bottle_per_eye_is_the_default")),
    28: ((BOTTLES, "test_more_room_never_costs_a_bottle"), (BOTTLES, "test_a_bigger_bottle_never_costs_one")),
    29: ((BOTTLES, "test_millilitres_are_for_show"), (BOTTLES, "test_millilitres_by_hand")),
    30: ((SAFETY, "test_no_class_twice_goes_unseen"),),
    31: (
        (SAFETY, "test_no_drop_after_its_last_day"),
        (SAFETY, "test_an_antibiotic_is_not_stretched_by_its_steroid_partner"),
    ),
    32: (
        (SAFETY, "test_every_stop_and_ask_is_on_the_surgeons_sheet"),
        (SAFETY, "test_an_override_says_who_when_and_why"),
        (SAFETY, "test_an_answer_does_not_hide_the_point"),
    ),
    33: (
        (SAFETY, "test_own_drops_are_answered_for"),
        (SAFETY, "test_a_long_standing_drop_without_a_decision_is_undecided"),
    ),
    34: ((SAFETY, "test_a_long_steroid_course_has_a_pressure_visit_or_asks"),),
    35: ((SAFETY, "test_a_long_nsaid_course_has_a_reason_and_a_cornea_visit_or_asks"),),
    36: ((SAFETY, "test_allergies_not_asked_are_not_none"),),
    37: (
        (SAFETY, "test_a_plan_without_drops_still_tells_the_rest"),
        (CALENDAR, "test_without_drops_the_page_says_so_and_keeps_shield_visits_and_telephone"),
    ),
    38: (
        (PRESENTATION, "test_no_brand_no_abbreviation_no_trailing_zero"),
        (PRESENTATION, "test_the_faults_are_recognised"),
        (PRESENTATION, "test_drugs_are_called_by_their_generic_names"),
    ),
    39: (
        (PAPER, "test_clock_times_on_the_calendar_are_at_least_18_points"),
        (PAPER, "test_bottle_numbers_on_the_calendar_are_at_least_18_points"),
        (PAGES, "test_what_patients_read_is_at_least_14_points"),
    ),
    40: (
        (PRESENTATION, "test_bottles_are_told_apart_without_colour"),
        (CALENDAR, "test_a_number_has_one_shape_and_a_shape_one_number"),
    ),
    41: (
        (PRESENTATION, "test_every_picture_says_in_words_what_it_shows"),
        (PRESENTATION, "test_words_under_pictures_are_in_the_patients_language"),
    ),
    42: (
        (PRESENTATION, "test_warnings_and_telephone_on_every_page"),
        (PRESENTATION, "test_each_warning_sign_has_one_of_three_actions"),
        (PAPER, "test_every_page_that_goes_home_has_both_telephones"),
    ),
    43: (
        (PRESENTATION, "test_first_page_says_who_gives_the_drops"),
        (PRESENTATION, "test_first_page_shows_teach_back"),
    ),
    44: (
        (CHANGES, "test_changes_are_told"),
        (CHANGES, "test_the_past_stays_as_it_was_printed"),
        (CHANGES, "test_a_number_is_never_given_to_another_bottle"),
        (CHANGES, "test_from_the_change_on_only_the_new_drops"),
        (CHANGES, "test_a_change_needs_a_new_version"),
    ),
    45: (
        (CHANGES, "test_a_second_eye_adds_and_alters_nothing"),
        (CHANGES, "test_the_first_eyes_bottles_keep_their_numbers"),
        (CHANGES, "test_the_first_eyes_bottles_are_opened_on_the_same_dates"),
    ),
    46: (
        (CHANGES, "test_what_nobody_knows_is_refused_where_it_stands"),
        (CHANGES, "test_a_case_without_it_is_refused"),
        (CHANGES, "test_a_drug_without_it_is_refused"),
        (CHANGES, "test_hours_that_do_not_hold_the_doses_are_refused"),
    ),
}


def functions_of(path: Path) -> dict[str, str]:
    """Docstrings of the test functions of a file, by name."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found = [node for node in tree.body if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")]
    return {node.name: ast.get_docstring(node) or "" for node in found}


def test_every_invariant_has_a_test() -> None:
    """All of 1 to 46, none twice."""
    assert list(TABLE) == list(range(1, 47))


@pytest.mark.parametrize("number", sorted(TABLE))
def test_the_tests_of_an_invariant_exist(number: int) -> None:
    """Every test named above stands in its file; one in an invariants' file says which invariant it holds."""
    for file, name in TABLE[number]:
        functions = functions_of(TESTS / file)
        assert name in functions
        if "test_drop_invariants_" in file:
            assert re.match(rf"Invariant {number}\b", functions[name]), name


def test_no_test_of_an_invariant_is_missing_above() -> None:
    """Every test that says it holds an invariant is known, or stands beside one that is."""
    for file in {file for tests in TABLE.values() for file, _ in tests if "test_drop_invariants_" in file}:
        for name, words in functions_of(TESTS / file).items():
            if said := re.match(r"Invariant (\d+)", words):
                assert file in {file for file, _ in TABLE[int(said[1])]}, name


def test_every_check_is_run() -> None:
    """No check of random plans is written and left out of the 20,000."""
    tree = ast.parse(Path(drop_checks.__file__).read_text(encoding="utf-8"))
    written = {
        node.name
        for node in tree.body
        if isinstance(node, ast.FunctionDef) and re.match(r"\d+[.,]", ast.get_docstring(node) or "")
    }
    assert written == {check.__name__ for check in drop_checks.ALL}
