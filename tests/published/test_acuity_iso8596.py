"""Visual acuity in every notation against ISO 8596 and the conversion chart of the Journal of Cataract and Refractive
Surgery.

ISO 8596 (Ophthalmic optics, visual acuity testing), clause 4: the acuity grade is the reciprocal of the gap width of
the Landolt ring in minutes of arc; grade 1 is a gap of 1 minute. logMAR is the base-10 logarithm of that angle.
"""

from __future__ import annotations

import itertools
import math

import pytest

from consent.case import parse_acuity
from consent.case.acuity import AcuityWord

# Visual acuity measurements. J Cataract Refract Surg 2004;30:287-290, table 1 (Holladay's conversion chart):
# feet 20/x, metres 6/x, decimal, logMAR, as printed. Decimals are printed to two digits.
CHART = [
    ("20/10", "6/3.0", "2.00", "-0.30"),
    ("20/12.5", "6/3.8", "1.60", "-0.20"),
    ("20/16", "6/4.8", "1.25", "-0.10"),
    ("20/20", "6/6.0", "1.00", "0.00"),
    ("20/25", "6/7.5", "0.80", "0.10"),
    ("20/30", "6/9.0", "0.67", "0.18"),
    ("20/32", "6/9.6", "0.63", "0.20"),
    ("20/40", "6/12.0", "0.50", "0.30"),
    ("20/50", "6/15.0", "0.40", "0.40"),
    ("20/60", "6/18.0", "0.33", "0.48"),
    ("20/63", "6/18.9", "0.32", "0.50"),
    ("20/70", "6/21.0", "0.29", "0.54"),
    ("20/80", "6/24.0", "0.25", "0.60"),
    ("20/100", "6/30.0", "0.20", "0.70"),
    ("20/114", "6/34.2", "0.18", "0.76"),
    ("20/125", "6/37.5", "0.16", "0.80"),
    ("20/150", "6/45.0", "0.13", "0.88"),
    ("20/160", "6/48.0", "0.13", "0.90"),
    ("20/200", "6/60.0", "0.10", "1.00"),
]


def logmar(text: str) -> float:
    value = parse_acuity(text).logmar
    assert value is not None
    return value


@pytest.mark.parametrize(("feet", "metres", "decimal", "printed"), CHART)
def test_snellen_against_the_conversion_chart(feet: str, metres: str, decimal: str, printed: str) -> None:
    # Tolerance: half of the last printed digit, 0.005, for logMAR and for the decimal; 6/3.8 is itself printed rounded
    # (exactly 6/3.75), which moves its decimal by 0.021.
    for notation in (feet, metres):
        assert logmar(notation) == pytest.approx(float(printed), abs=0.0051)
        assert 10 ** -logmar(notation) == pytest.approx(float(decimal), abs=0.0211 if metres == "6/3.8" else 0.0051)
    assert logmar(f"{printed} logMAR") == float(printed)


@pytest.mark.parametrize(
    "notations",
    [
        # The same angle by definition: 6/60 is a detail of 10 minutes of arc, decimal 1/10, log10(10) = 1.
        ("6/60", "20/200", "3/30", "4/40", "5/50", "decimal 0.1", "decimal 0.10", "1.0 logMAR", "1.00 logMAR"),
        ("6/6", "20/20", "3/3", "4/4", "5/5", "decimal 1", "decimal 1.0", "0 logMAR", "0.00 logMAR"),
        ("6/12", "20/40", "decimal 0.5"),
        ("6/24", "20/80", "decimal 0.25"),
        ("6/30", "20/100", "decimal 0.2"),
        ("6/15", "20/50", "decimal 0.4"),
        ("6/7.5", "20/25", "decimal 0.8"),
        ("6/4.8", "20/16", "decimal 1.25"),
        ("6/3", "20/10", "decimal 2.0"),
        ("6/9", "20/30"),
        ("6/18", "20/60"),
        ("6/36", "20/120"),
        ("3/60", "20/400", "6/120", "decimal 0.05"),
    ],
)
def test_notations_of_one_angle_are_one_acuity(notations: tuple[str, ...]) -> None:
    assert len({logmar(notation) for notation in notations}) == 1
    for one, other in itertools.permutations(notations, 2):
        assert not parse_acuity(one).is_worse_than(parse_acuity(other))


@pytest.mark.parametrize("grade", ["0.05", "0.08", "0.1", "0.16", "0.2", "0.25", "0.32", "0.4", "0.5", "0.63", "0.8"])
def test_a_grade_is_the_reciprocal_of_the_angle(grade: str) -> None:
    # ISO 8596, clause 4. logMAR is kept to four digits.
    minutes_of_arc = 1 / float(grade)
    assert 10 ** logmar(f"decimal {grade}") == pytest.approx(minutes_of_arc, rel=2e-4)


def test_grades_of_the_standard_are_a_tenth_of_a_log_unit_apart() -> None:
    # ISO 8596, clause 4: graduated logarithmically, ten steps to a factor of ten (ISO 3 preferred numbers, series R10).
    # Preferred numbers are rounded by up to 1.26 percent (ISO 3), 0.0055 in logMAR each.
    grades = ["0.1", "0.16", "0.2", "0.25", "0.32", "0.4", "0.5", "0.63", "0.8", "1.0", "1.25", "1.6", "2.0"]
    values = [logmar(f"decimal {grade}") for grade in grades]
    steps = [one - other for one, other in itertools.pairwise(values)]
    assert steps[0] == pytest.approx(0.2, abs=0.011)  # 0.125 lies between
    assert steps[1:] == pytest.approx([0.1] * 11, abs=0.011)


def test_from_best_to_no_light() -> None:
    # Schulze-Bonsel et al 2006, Invest Ophthalmol Vis Sci 47:1236-1240: counting fingers is worse than the largest
    # letters of the charts below (mean logMAR 1.85), hand movements worse still (2.28). ICD-11, 9D90: light perception
    # comes before none.
    ranked = ["6/6", "6/12", "6/18", "20/80", "decimal 0.1", "3/60", "CF", "HM", "PL", "NPL"]
    parsed = [parse_acuity(text) for text in ranked]
    for better, worse in itertools.combinations(parsed, 2):
        assert worse.is_worse_than(better)
        assert not better.is_worse_than(worse)


@pytest.mark.parametrize("word", list(AcuityWord))
def test_a_word_is_no_number(word: AcuityWord) -> None:
    # No angle was measured, so no logMAR is made up (Holladay 1997, J Refract Surg 13:388-391, gives only conventions).
    acuity = parse_acuity(word.value)
    assert (acuity.word, acuity.logmar) == (word, None)
    assert parse_acuity(word.value.lower()) == acuity
    assert not acuity.is_worse_than(acuity)


@pytest.mark.parametrize("text", ["0.1", "1.0", "1", "0", ".5", "-0.1", "60", "0,1"])
def test_a_bare_number_is_refused(text: str) -> None:
    # 0.1 is 6/60 as a decimal and 6/7.5 as logMAR: the chart above.
    with pytest.raises(ValueError, match=r"decimal 0\.1.*1\.00 logMAR"):
        parse_acuity(text)


def test_what_a_bare_number_could_have_meant_differs() -> None:
    assert logmar("decimal 0.1") == pytest.approx(1.0, abs=0.005)
    assert logmar("0.1 logMAR") == pytest.approx(0.1, abs=0.005)


@pytest.mark.parametrize(
    "text", ["", "6", "6/", "/60", "6/0", "60/6", "6-60", "six/sixty", "decimal", "logMAR", "good"]
)
def test_what_is_no_acuity_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is not an acuity"):
        parse_acuity(text)


@pytest.mark.parametrize("text", ["decimal 0", "decimal 2.5", "2.5 logMAR", "-0.5 logMAR"])
def test_what_no_eye_sees_or_no_chart_measures_is_refused(text: str) -> None:
    # The chart above ends at decimal 2.00, logMAR -0.30; logMAR 2.0 (6/600) is the end of Holladay's full table.
    with pytest.raises(ValueError, match="is not an acuity"):
        parse_acuity(text)


def test_an_acuity_is_kept_as_written() -> None:
    # The surgeon's sheet repeats the clinic's own notation; only white space is tidied.
    assert parse_acuity("  6/60 ").written == "6/60"
    assert parse_acuity("1.00   logMAR").written == "1.00 logMAR"
    assert math.isclose(logmar("1.00 LOGMAR"), 1.0)
