"""What is read aloud says what the papers for home say, number for number, and first that a machine speaks."""

from __future__ import annotations

import re
from collections import Counter

import pytest

from consent.clinic import Clinic
from consent.compose import Voice, aloud
from consent.compose.drop_steps import sides_of
from consent.drops import Ends
from consent.language import Day, Speaker, load_catalogue
from consent.pack import Pack
from consent.pack.compose import READ_ALOUD
from tests.conftest import LANGUAGES, NAMES

NUMBER = re.compile(r"\d+(?:[.,]\d+)*")


def spoken(pack: Pack, tag: str, sheet: str = "drop-calendar") -> str:
    assert sheet in READ_ALOUD
    (one,) = (one for one in pack.documents if one.sheet == sheet and one.languages[0][0] == tag)
    return aloud(one, pack.assessment, Voice((tag,), pack.assessment.clinic.digits))


@pytest.mark.parametrize("name", NAMES)
def test_it_says_first_that_a_machine_speaks(packs: dict[str, Pack], name: str) -> None:
    lines = spoken(packs[name], "en").splitlines()
    assert lines[0].startswith("This is a machine voice, not a person.")
    assert "the paper is right" in lines[0]


@pytest.mark.parametrize("name", NAMES)
def test_every_drug_with_every_step_is_said_as_the_plan_has_it(packs: dict[str, Pack], name: str) -> None:
    """Counted from the plan itself, not from the calendar: dates, times a day, strengths."""
    for tag in LANGUAGES[name]:
        show, plan = Speaker(tag, "locale").show, packs[name].assessment.drops
        words = [load_catalogue(tag).message(f"theirs.{kind}").forms[0] for kind in ("bottle", "tube")]
        heads = "|".join(word.replace("{number}", r"\w+") for word in words)
        bottles = iter(re.split(rf"^(?:{heads}): ", spoken(packs[name], tag), flags=re.M)[1:])
        for side in sides_of(plan):
            for row in (row for row in plan.current if row.side is side):
                bottle = next(bottles)
                assert bottle.startswith(f"{row.drug.name}.")
                for phase in row.phases:
                    if phase.last_day >= plan.issued_from:
                        days = [show(Day(day, "full")).plain for day in (phase.first, phase.last)]
                        line = next(one for one in bottle.splitlines() if all(day in one for day in days))
                        left = line.replace(days[0], "").replace(days[1], "")
                        assert NUMBER.findall(left)[0] == show(phase.times_a_day).plain
                if row.ends is Ends.LONG_STANDING:
                    assert bottle.count(show(Day(row.last, "full")).plain) == 2
        assert next(bottles, None) is None


@pytest.mark.parametrize("name", NAMES)
def test_numbers_of_the_going_home_sheet_are_all_said(packs: dict[str, Pack], name: str) -> None:
    """Telephone numbers are said digit by digit, so they are put together again before counting."""
    for tag in LANGUAGES[name]:
        said = spoken(packs[name], tag, "going-home")
        call = packs[name].assessment.clinic.telephone
        for number in (call.day, call.night):
            apart = " ".join(number.replace(" ", ""))
            assert apart in said
            said = said.replace(apart, number)
        wanted: Counter[str] = Counter()
        (home,) = (one for one in packs[name].documents if one.sheet == "going-home" and one.languages[0][0] == tag)
        for section in (section.id for section in home.sections):
            for where, line in home.lines():
                if where == section and section not in ("eye", "code"):
                    wanted += Counter(NUMBER.findall(line[0].plain))
        missing = Counter({number: count for number, count in wanted.items() if number not in NUMBER.findall(said)})
        assert missing == Counter(), tag


def test_no_line_is_for_a_pen(packs: dict[str, Pack]) -> None:
    for name in NAMES:
        assert not any("___" in spoken(packs[name], "en", sheet) for sheet in READ_ALOUD)


def test_both_eyes_are_told_apart(packs: dict[str, Pack], clinic: Clinic) -> None:
    """The second eye has drops in both; a bottle belongs to the eye named last before it."""
    lines = spoken(packs["second-eye"], "en").splitlines()
    right, left = lines.index("RIGHT eye."), max(place for place, line in enumerate(lines) if line == "LEFT eye.")
    bottles = [place for place, line in enumerate(lines) if re.match(r"(Bottle|Tube) \d", line)]
    sides = {row.side for row in packs["second-eye"].assessment.drops.current}
    assert len(sides) == 2
    assert right < min(bottles)
    assert any(place < left for place in bottles)
    assert any(place > left for place in bottles)
    assert clinic.invented
