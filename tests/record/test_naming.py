"""A text in the clear does not say who the patient is: as people would write it, in the scripts of the clinic."""

from __future__ import annotations

import pytest

from consent.record.naming import names

PATIENT = {
    "name": "Shanti Example",
    "record_number": "DEMO-0001",
    "birth_date": "1958-03-14",
    "telephone": "+91 98300 12345",
    "drops_helper": "Rina",
    "decision": {"basis": "legal guardian", "name": "Biswanath Invented"},
    "interpreter": {"name": "Olga Imaginary", "language": "ru"},
}


@pytest.mark.parametrize(
    "reason",
    [
        "Asked for by Shanti.",
        "Shanti's request",
        "Shanti\u2019s request",  # the apostrophe of print
        '"Shanti" asked',
        "for SHANTI/EXAMPLE",
        "for shanti-example",
        "for shanti_example",
        "for ShantiExample",
        "for S h a n t i  E x a m p l e",
        "for \uff33\uff28\uff21\uff2e\uff34\uff29",  # full width letters
        "for Shan\u00adti",  # a soft hyphen
        "record demo 0001",
        "DEMO0001",
        "rang from 98300-12345",
        "rang from (+91) 9830012345",
        "rang from \u09ef\u09ee\u09e9\u09e6\u09e6 \u09e7\u09e8\u09e9\u09ea\u09eb",  # Bengali digits
        "born 14.03.1958",
        "born 14/3/58",
        "born 3-14-1958",
        "born 1958-03-14",
        "born 14 March 1958",
        "born on the 14th of mar. 1958",
        "born March 14, 1958",
        "born 14031958",
        "born \u09e7\u09ea/\u09e9/\u09e7\u09ef\u09eb\u09ee",
        "Rina asked",
        "asked by Mr Biswanath",
        "Olga was there",
    ],
)
def test_a_text_that_says_who_it_is(reason: str) -> None:
    assert names(PATIENT, reason)


@pytest.mark.parametrize(
    "reason",
    [
        "Section 12 of the Act of 2023, request of 4 March 2027.",
        "Asked for by unshantily people, section 12.",
        "Request of 14 March 2027",
        "Order 1958 of the court, page 14",
        "Order 98300 of 12 May",
        "The retention has ended.",
        "",
    ],
)
def test_a_text_that_does_not(reason: str) -> None:
    assert not names(PATIENT, reason)


@pytest.mark.parametrize(
    ("name", "reason", "found"),
    [
        (
            "\u09b0\u09b9\u09bf\u09ae\u09be \u0996\u09be\u09a4\u09c1\u09a8",
            "\u09b0\u09b9\u09bf\u09ae\u09be\u09b0 x",
            False,
        ),
        ("\u09b0\u09b9\u09bf\u09ae\u09be \u0996\u09be\u09a4\u09c1\u09a8", "(\u09b0\u09b9\u09bf\u09ae\u09be)", True),
        ("\u0936\u093e\u0902\u0924\u093f", "\u0936\u093e\u0902\u0924\u093f, section 12", True),
        ("Li Bo", "for Li Bo", True),
        ("Li Bo", "Bo Li is another", False),
        ("Om", "for om", True),
    ],
)
def test_names_in_other_scripts_and_short_ones(name: str, reason: str, found: bool) -> None:
    """Vowel signs are marks and no letters (Unicode, general category Mc and Mn): they do not end a word."""
    assert names({"name": name}, reason) is found


def test_a_patient_of_whom_nothing_is_known_is_not_named() -> None:
    assert not names({}, "Section 12 of the Act, 4 March 2027")


@pytest.mark.parametrize(("reason", "found"), [("section 17 of 2023", False), ("the patient of record 7", True)])
def test_a_number_that_stands_in_any_sentence_is_looked_for_by_itself(reason: str, found: bool) -> None:
    assert names({"record_number": "7"}, reason) is found
