"""The shipped figures against what the abstracts of their papers print, figure by figure."""

from __future__ import annotations

import pytest

from consent.evidence import library

# value, (low, high) or None, (events, eyes) or None; percent for rates. Each line was taken from the paper's abstract,
# named above it; a value the abstract gives only as counts is tested as counts.
COUNTS = {
    # Haripriya A, Chang DF, Ravindran RD. Ophthalmology 2017;124:768-775, doi 10.1016/j.ophtha.2017.01.026:
    # "0.07% (214/302 815) to 0.02% (64/314 638)", "8479 eyes that had PCR", "0.48% (20/4186)", "0.21% (9/4293)".
    "haripriya-2017/capsule-rupture": (8479, 617453),
    "haripriya-2017/endophthalmitis-none": (214, 302815),
    "haripriya-2017/endophthalmitis-given": (64, 314638),
    "haripriya-2017/endophthalmitis-none-ruptured": (20, 4186),
    "haripriya-2017/endophthalmitis-given-ruptured": (9, 4293),
    # Sim PY et al. Eye 2024, doi 10.1038/s41433-024-03344-2: "9730 (1.01%) of surgeries" of "961,208".
    "sim-2024/capsule-rupture": (9730, 961208),
    # Stewart S et al. Eye 2023, doi 10.1038/s41433-023-02514-y: "0.03% (204/709 083, approximately 1 in 3 500)".
    "stewart-2023/suprachoroidal-haemorrhage": (204, 709083),
    # El-Hindy N et al. Eye 2009;23:50-55, doi 10.1038/sj.eye.6703031: "25 eyes, 0.066%", "38,058 local blocks".
    "el-hindy-2009/serious-with-block": (25, 38058),
    # Suazo MK et al. Am J Ophthalmol 2025, doi 10.1016/j.ajo.2025.03.014: "Among 32,480 eyes, 175 eyes (0.54%)".
    "suazo-2025/return-to-theatre": (175, 32480),
    # Bojikian KD et al. J Glaucoma 2021;30:e159-e163, PMID 33428351: "472 eyes ... and 191 eyes", "Ten (2.1%)
    # nonglaucoma eyes and 16 (8.4%) glaucoma eyes".
    "steroid-response-2021/no-glaucoma": (10, 472),
    "steroid-response-2021/glaucoma": (16, 191),
    # Aswin PR et al. Indian J Ophthalmol 2022;70:2426-2431: "388 eyes", "Thirty-five (9.3%) eyes had intraoperative
    # PCR" (35 of 388 is 9.0 percent; the counts are tested).
    "aswin-2022/posterior-polar": (35, 388),
}

PRINTED = {
    # Day AC et al. Ophthalmology 2016;123:1711-1715, PMID 27342788: "0.21%; 95% CI, 0.18%-0.25%", "3.27%; 95% CI,
    # 2.37%-4.50%", "0.16%; 95% CI, 0.13%-0.19%".
    "day-2016/detachment": (0.21, 0.18, 0.25, 0.01),
    "day-2016/detachment-ruptured": (3.27, 2.37, 4.50, 0.01),
    "day-2016/detachment-intact": (0.16, 0.13, 0.19, 0.01),
    # Chu CJ et al. Ophthalmology 2016;123:316-323, doi 10.1016/j.ophtha.2015.10.001: "RR, 2.61; 95% CI, 1.57-4.34".
    "chu-2016/rupture-ratio": (2.61, 1.57, 4.34, 0.01),
    # Sim 2024, as above: "OR 2.41, 95% CI 2.24-2.60", "OR 3.47, 95% CI 3.05-3.94".
    "sim-2024/brunescent-or-white": (2.41, 2.24, 2.60, 0.01),
    "sim-2024/pseudoexfoliation-or-phacodonesis": (3.47, 3.05, 3.94, 0.01),
    # Salowi MA et al. Br J Ophthalmol 2017;101:1466-1470, PMID 28292773: "95% CI 1.02 to 1.82; OR 1.36".
    "salowi-2017/pseudoexfoliation": (1.36, 1.02, 1.82, 0.01),
}

VALUES = {
    # Chu 2016, as above: "Baseline incidence ... was 1.17%".
    "chu-2016/macular-oedema-healthy": (1.17, 0.01),
    # Day AC et al. Eye 2015;29:552-560, doi 10.1038/eye.2015.3: "0.30 logMAR or better in ... 94.6% eyes without ocular
    # co-pathology, and ... 79.9% in eyes with co-pathology" (0.30 logMAR is 6/12).
    "day-2015/good-vision-no-other-disease": (94.6, 0.1),
    "day-2015/good-vision-other-disease": (79.9, 0.1),
}

SPREADS = {
    # Ursell PG et al. Eye 2020;34:960-968, PMID 31616057: "between 2.4-12.6% at 3 years and 5.8-19.3% at 5 years".
    "ursell-2020/laser-capsulotomy-3-years": (2.4, 12.6),
    "ursell-2020/laser-capsulotomy-5-years": (5.8, 19.3),
}


@pytest.mark.parametrize("reference", COUNTS)
def test_counts_are_those_of_the_abstract(reference: str) -> None:
    figure = library().cited(reference).figure
    assert (figure.events, figure.eyes) == COUNTS[reference]


@pytest.mark.parametrize("reference", PRINTED)
def test_value_and_interval_are_those_of_the_abstract(reference: str) -> None:
    value, low, high, digit = PRINTED[reference]
    figure = library().cited(reference).figure
    assert (figure.value, figure.low, figure.high) == pytest.approx((value, low, high), abs=digit / 2 + 1e-9)


@pytest.mark.parametrize("reference", VALUES)
def test_values_are_those_of_the_abstract(reference: str) -> None:
    value, digit = VALUES[reference]
    assert library().cited(reference).figure.value == pytest.approx(value, abs=digit / 2)


@pytest.mark.parametrize("reference", SPREADS)
def test_a_spread_over_lens_models_has_no_single_value(reference: str) -> None:
    figure = library().cited(reference).figure
    assert (figure.value, figure.low, figure.high) == (None, *SPREADS[reference])
    assert figure.interval == "spread over lens models"


@pytest.mark.parametrize(
    ("series", "operations"),
    [
        # The number of operations in the title or abstract of each paper.
        ("narendran-2009", 55_567),
        ("haripriya-2017", 617_453),
        ("day-2015", 180_114),
        ("day-2016", 61_907),
        ("chu-2016", 81_984),
        ("sim-2024", 961_208),
        ("salowi-2017", 150_213),
        ("stewart-2023", 709_083),
        ("suazo-2025", 32_480),
        ("ravindran-2020", 959),
        ("aswin-2022", 388),
        ("lundstrom-2018", 282_811),
    ],
)
def test_the_size_of_a_series_is_that_of_its_abstract(series: str, operations: int) -> None:
    assert library().one(series).operations == operations
