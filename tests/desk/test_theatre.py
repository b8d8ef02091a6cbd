"""Theatre's day and the pause: nothing is green that is not so, the eye is never one of two, names are told apart.

Universal Protocol UP.01.01.01 to UP.01.03.01 (Joint Commission): patient, site and procedure are agreed on before the
start; WHO Surgical Safety Checklist 2009, time out.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from html import unescape

import pytest

from consent.case import Side
from consent.clinic import Clinic
from consent.desk.alike import alike_among, names_alike, said_sides
from consent.desk.holding import holding
from consent.desk.look_out import look_out, not_known
from consent.desk.words import words_in
from consent.review import assess
from consent.wording import Remark
from tests.conftest import shipped_case
from tests.desk.house import OPERATIONS, House
from tests.editing import case_maker, edited
from tests.record.clock import TestClock
from tests.record.story import IST, Story


def agreed(story: Story) -> None:
    story.explain(OPERATIONS.astimezone(IST) - dt.timedelta(days=2))
    story.accept_figures()
    story.sign_off()
    story.consent()


def confirmed(story: Story) -> None:
    agreed(story)
    story.confirm(story.record.clock().astimezone(IST))


def void(story: Story) -> None:
    confirmed(story)
    story.enter(story.staff.surgeon, "changed", {"plan.lens.power_d": 25.0})


def withdrawn(story: Story) -> None:
    agreed(story)
    story.enter(story.staff.theatre, "withdrawn", reason="Not today.")


def operated(story: Story) -> None:
    confirmed(story)
    story.operate()


def explained(story: Story) -> None:
    story.explain(OPERATIONS.astimezone(IST) - dt.timedelta(days=2))


def signed_off(story: Story) -> None:
    explained(story)
    story.accept_figures()
    story.sign_off()


def pause(house: House, name: str = "ordinary", who: str = "tara") -> str:
    return house.nobody().log_in(who).get(f"/case/{house.subjects[name]}/pause").text


def bands(page: str) -> list[tuple[str, str]]:
    """Sign and first words of each band."""
    found = re.findall(r'<section class="band (\w+)".*?<div class="said">(.*?)</div>', page, re.S)
    return [(mark, re.sub(r"<[^>]+>", "", said).strip()) for mark, said in found]


@pytest.mark.parametrize(
    ("until", "first"),
    [
        (lambda story: None, ("stop", "NO CONSENT. There are no signed papers.")),
        (explained, ("stop", "NO CONSENT. There are no signed papers.")),
        (signed_off, ("stop", "NO CONSENT. The form is not signed.")),
        (agreed, ("ask", "The papers are signed, but NOT YET CONFIRMED today.")),
        (confirmed, ("good", "CONSENT HOLDS. Confirmed today.")),
        (void, ("stop", "NO CONSENT. The signed papers are VOID.")),
        (withdrawn, ("stop", "NO CONSENT. The patient took the agreement back.")),
        (operated, ("plain", "This operation is DONE.")),
    ],
)
def test_the_first_band_is_what_the_record_says(
    day: House, until: Callable[[Story], None], first: tuple[str, str]
) -> None:
    until(day.story())
    found = bands(pause(day))
    assert found[0] == first
    assert any(mark == "good" for mark, _ in found) == (until is confirmed)


def test_green_ends_with_the_day(day: House, clock: TestClock) -> None:
    confirmed(day.story())
    clock.advance(days=1)
    assert bands(pause(day))[0] == ("stop", "NOT TODAY. It is planned for Wednesday, 24 February 2027.")


def test_an_eye_named_otherwise_anywhere_stops_and_no_eye_is_shown(day: House) -> None:
    confirmed(day.story())
    day.story().enter(day.staff.counsellor, "changed", {"measurement.side": "right"})
    page = pause(day)
    marks = [mark for mark, _ in bands(page)]
    assert "good" not in marks and ("stop", "THE EYES DO NOT AGREE.") in bands(page)
    assert "EYE NOT CLEAR" in page and 'class="face"' not in page


def test_a_point_that_stops_takes_the_green_away(clinic: Clinic, day: House) -> None:
    confirmed(day.story())
    case = day.case()
    whole = edited(dict(case.data), {"eye.lens_implant_present": "yes"})
    from consent.record.state import case_of

    found = holding(case, assess(case_of(whole), clinic), OPERATIONS.astimezone(IST).date(), IST)
    assert found.word == "good" and found.stops and not found.good


def test_an_open_page_can_tell_that_it_is_no_longer_so(day: House) -> None:
    # theatre.js asks again and again, and puts the new page in place where this differs.
    def state(path: str) -> str:
        return re.findall(r'id="live" data-state="(\w+)"', day.browser("tara").get(path).text)[0]

    paths = ("/theatre", f"/case/{day.subjects['ordinary']}/pause")
    confirmed(day.story())
    before = [state(path) for path in paths]
    assert before == [state(path) for path in paths]
    day.story().enter(day.staff.theatre, "withdrawn", reason="Not today.")
    assert all(one != other for one, other in zip(before, (state(path) for path in paths), strict=True))


def test_not_asked_is_not_none(day: House) -> None:
    assert "None. The patient was asked." in pause(day)
    day.story().enter(day.staff.counsellor, "changed", {"health.allergies": {"asked": "not asked"}})
    page = pause(day)
    assert "NOT ASKED. This is not the same as none." in page
    assert "None. The patient was asked." not in page


def test_the_pause_names_the_paper_the_signature_and_the_witness(day: House) -> None:
    confirmed(day.story())
    page = re.sub(r"<[^>]+>", "", pause(day))
    assert "Version 1, code" in page and "signed by Dr Asha Invented" in page
    assert "thumb print" in page and "witness: W. Neighbour" in page
    assert "Not on the form, so not agreed" in page


def test_the_list_is_in_the_order_proposed_and_tells_names_apart(day: House) -> None:
    from consent.record.state import case_of, data_of

    twin = case_of(
        edited(
            data_of(shipped_case("ordinary")), {"patient.name": "Shanta Example", "patient.record_number": "DEMO-21"}
        )
    )
    Story(day.record, day.staff).open(twin)
    page = day.browser("tara").get("/theatre?day=2027-02-24").text
    names = re.findall(r'class="name">(?:<bdi>)?([^<]+)', page)
    assert {"Shanti Example", "Shanta Example", "Kamla Example"} == set(names)
    assert "Similar name today: Shanta Example" in page and "Similar name today: Shanti Example" in page
    assert "Similar name today: Kamla" not in page


def test_who_said_no_is_shown_apart(day: House) -> None:
    withdrawn(day.story())
    page = day.browser("tara").get("/theatre").text
    waiting, _, off = page.partition("NOT to be operated")
    assert "Shanti Example" in off and "Shanti Example" not in waiting


def test_a_date_that_is_none_shows_today_and_says_so(day: House) -> None:
    page = day.browser("tara").get("/theatre?day=soon").text
    assert "This is not a date." in page and "24 February 2027" in page


def test_names_that_can_be_taken_for_each_other() -> None:
    pairs = [
        ("Rahim Mondal", "Karim Mondal"),
        ("Shanti Das", "Das Shanti"),
        ("Sita Das", "Gita Das"),
        ("শান্তি দাস", "শান্তা দাস"),
    ]
    assert all(names_alike(one, other) and names_alike(other, one) for one, other in pairs)
    assert not names_alike("Shanti Mondal", "Haradhan Mondal")
    assert not names_alike("Md Rahim", "Md Selim Khan")
    assert alike_among(["Asha Ray", "Kamal Sen", "Asha Roy"]) == ((2,), (), (0,))


def test_sides_are_all_compared() -> None:
    make_case = case_maker()
    assert said_sides(make_case()) == ()
    told = make_case({"talk.told.side": "right"})
    assert dict(said_sides(told))["talk"] is Side.RIGHT and len(said_sides(told)) == 4


@pytest.mark.parametrize(
    ("until", "call", "surgeon_goes_to"),
    [
        (lambda story: None, "Call the counsellor.", "talk"),
        (explained, "Call the surgeon.", "review"),
        (signed_off, "Call the counsellor.", "consented"),
        (withdrawn, "Call the counsellor.", "mind"),
        (agreed, "", "confirm"),
    ],
)
def test_the_pause_says_who_is_called_and_where_it_goes_on(
    day: House, until: Callable[[Story], object], call: str, surgeon_goes_to: str
) -> None:
    until(day.story())
    page = pause(day, who="asha")
    first = page.partition('<section class="band')[2].partition("</section>")[0]
    assert call in first and f'/case/{day.subjects["ordinary"]}/{surgeon_goes_to}"' in first
    assert ("/review" in pause(day)) is False


def looked_out(clinic: Clinic, changes: dict[str, object]) -> list[tuple[str, str, str]]:
    found = look_out(assess(case_maker()(changes), clinic))
    return [(fact.label, fact.value.id if isinstance(fact.value, Remark) else "", fact.mark) for fact in found]


@pytest.mark.parametrize(
    ("changes", "label", "words", "mark"),
    [
        ({"other_eye.seeing": "no"}, "pause.this-eye", "list.only-eye", "stop"),
        ({"eye.nucleus.grade": "hard"}, "field.eye.nucleus.grade", "choice.nucleus-grade.hard", "ask"),
        ({"eye.nucleus.grade": "brunescent"}, "field.eye.nucleus.grade", "choice.nucleus-grade.brunescent", "ask"),
        ({"eye.white": "yes"}, "field.eye.white", "pause.yes", "ask"),
        ({"eye.pupil_mm": 3.5, "eye.pupil_grade": "small"}, "pause.pupil", "pause.pupil-both", "ask"),
        ({"eye.pupil_mm": 7.5, "eye.pupil_grade": "large"}, "pause.pupil", "pause.pupil-both", "plain"),
        ({"eye.pupil_mm": None, "eye.pupil_grade": "small"}, "pause.pupil", "choice.pupil-grade.small", "ask"),
        ({"eye.pseudoexfoliation": "yes"}, "field.eye.pseudoexfoliation", "pause.yes", "ask"),
        ({"eye.phacodonesis": "yes"}, "field.eye.phacodonesis", "pause.yes", "ask"),
        ({"health.diabetes": "yes"}, "field.health.diabetes", "pause.yes", "ask"),
        ({"health.can_lie_flat": "no"}, "field.health.can_lie_flat", "pause.no", "ask"),
        ({"eye.lid_infection": "yes"}, "pause.infection", "fact.lid-infection", "stop"),
        ({"fitness.tear_sac": "pus"}, "pause.infection", "fact.sac-pus", "stop"),
        ({"fitness.infection_elsewhere": "yes"}, "pause.infection", "fact.infection-elsewhere", "stop"),
    ],
)
def test_what_may_cost_the_eye_is_looked_out_for(
    clinic: Clinic, changes: dict[str, object], label: str, words: str, mark: str
) -> None:
    found = looked_out(clinic, changes)
    assert (label, words, mark) in found
    quiet = {"eye.pupil_mm": None, "eye.pupil_grade": "large", "health.diabetes": "no"}
    assert (label, words, mark) not in looked_out(clinic, quiet)


def test_what_nobody_entered_is_said_and_never_left_out(clinic: Clinic) -> None:
    unknown = ("eye.white", "eye.pseudoexfoliation", "eye.phacodonesis", "health.diabetes", "health.can_lie_flat")
    case = case_maker()(dict.fromkeys(unknown, "unknown") | {"eye.nucleus.grade": "unknown"})
    assert {f"field.{name}" for name in (*unknown, "eye.nucleus.grade")} <= set(not_known(case))
    known = case_maker()(dict.fromkeys(unknown, "no"))
    assert not {f"field.{name}" for name in unknown} & set(not_known(known))


def test_the_pause_shows_each_with_a_sign_and_words(day: House) -> None:
    changes = {"other_eye.seeing": "no", "eye.pupil_mm": 3.5, "eye.pupil_grade": "small", "health.can_lie_flat": "no",
               "eye.white": "unknown"}  # fmt: skip
    day.story().enter(day.staff.counsellor, "changed", changes)
    page = pause(day)
    assert re.search(r'<span class="mark stop"><svg.*?</svg><strong>only seeing eye</strong>', page, re.S)
    assert re.search(r"</svg>3\.5.mm; by the surgeon's grade: Small</span>", unescape(page))
    assert re.search(r"Can lie flat</dt><dd><span class=\"mark ask\"><svg.*?</svg>No</span>", page, re.S)
    assert re.search(r"</svg>Not known</span></dt><dd>.*White or swollen cataract", page)


def test_the_pause_tells_what_was_ticked_on_the_signed_form(day: House) -> None:
    """WHO surgical safety checklist 2009: the operation that was agreed; a step that was refused is in no doubt."""
    signed_off(day.story())
    case = day.case()
    papers = case.sealed("consent")
    assert papers is not None
    first, *others = case.case.plan.extra_steps
    form = {"seen": str(case.sequence), "by": case.case.patient.name, "how": "thumb impression", "code": papers.code}
    form |= {"witness": "W. Neighbour", f"step.{first}": "no", **{f"step.{step}": "yes" for step in others}}
    assert day.browser("meera").post(f"/case/{case.subject}/consented", form).status_code == 303
    page = re.sub(r"<[^>]+>", "", pause(day))
    told = page.partition("Agreed on the signed form:")[2]
    agreed, _, refused = told.partition("The patient said NO to:")
    words = words_in("en", "latin", False)
    assert words.plain(f"step.{first}.short") in refused[:80] and words.plain(f"step.{first}.short") not in agreed
    assert all(words.plain(f"step.{step}.short") in agreed for step in others)
