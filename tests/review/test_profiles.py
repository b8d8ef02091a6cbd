"""What a consent form must hold, as data: every element with its level and source, and the four profiles made of them.

The tables below were copied from the public sources they name, not from the files under test.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable

import pytest

from consent.errors import ClinicError, ConsentError
from consent.resources import package_data
from consent.review import Profile, assess, profile
from consent.review.profile import SETS, Element, element_ids, element_set
from tests.editing import MakeCase, MakeClinic

PROFILES = ("IN", "UK", "US", "general")
COMMON = ("SM", "ST", "UN", "RK")
OWN = {"IN": "IN", "UK": "UK", "US": "US", "general": "EU"}

# id: (level, words its source must hold). The level is MUST where the source words a requirement, SHOULD where it words
# good practice or an option, IF where it speaks of a condition. RK: rules inferred from studies, so none is a MUST.
LEVELS: dict[str, tuple[str, tuple[str, ...]]] = {
    # CMS State Operations Manual, App. A: A-0466 names the least and the options, A-0955 the discussion
    "US-01": ("MUST", ("A-0466",)),
    "US-02": ("MUST", ("A-0466",)),
    "US-03": ("MUST", ("A-0466",)),
    "US-04": ("MUST", ("A-0466",)),
    "US-05": ("MUST", ("A-0466",)),
    "US-06": ("MUST", ("A-0466",)),
    "US-07": ("SHOULD", ("A-0466",)),
    "US-08": ("SHOULD", ("A-0466",)),
    "US-09": ("SHOULD", ("A-0466",)),
    "US-10": ("IF", ("A-0466", "QSO-24-10")),
    "US-11": ("IF", ("A-0466", "QSO-24-10")),
    "US-12": ("IF", ("QSO-24-10",)),
    "US-13": ("SHOULD", ("A-0955",)),
    "US-14": ("SHOULD", ("A-0955",)),
    "US-15": ("SHOULD", ("A-0955",)),
    "US-16": ("SHOULD", ("State Operations Manual",)),
    "US-17": ("SHOULD", ("A-0955",)),
    "US-18": ("SHOULD", ("A-0955",)),
    "US-19": ("IF", ("state law may add",)),
    "US-20": ("IF", ("42 CFR 482.51(b)(2)",)),
    # GMC, Decision making and consent, 2020; Montgomery [2015] UKSC 11; Thefaut [2017] EWHC 497 (QB); NICE NG77
    "UK-01": ("MUST", ("GMC", "8-11")),
    "UK-02": ("IF", ("GMC", "8-11")),
    "UK-03": ("MUST", ("GMC", "8-11", "Montgomery")),
    "UK-04": ("MUST", ("GMC", "8-11")),
    "UK-05": ("MUST", ("GMC", "8-11")),
    "UK-06": ("MUST", ("GMC", "8-11")),
    "UK-07": ("MUST", ("Montgomery", "87", "89")),
    "UK-08": ("SHOULD", ("GMC", "21-24")),
    "UK-09": ("SHOULD", ("GMC", "21-24")),
    "UK-10": ("SHOULD", ("GMC", "21-24")),
    "UK-11": ("SHOULD", ("Thefaut v Johnston",)),
    "UK-12": ("SHOULD", ("NG77", "1.1.2")),
    "UK-13": ("SHOULD", ("NG77", "1.1.2", "1.1.3")),
    "UK-14": ("SHOULD", ("NG77", "1.1.3")),
    "UK-15": ("SHOULD", ("NG77", "1.1.1")),
    "UK-16": ("SHOULD", ("GMC", "42-45", "Vallance")),
    "UK-17": ("MUST", ("GMC", "Reviewing decisions")),
    "UK-18": ("MUST", ("GMC", "Reviewing decisions")),
    "UK-19": ("MUST", ("GMC", "Recording decisions")),
    "UK-20": ("SHOULD", ("RCS England", "2016")),
    # Samira Kohli v Dr Prabha Manchanda (2008) 2 SCC 1, para 32; conduct regulations 2002; statutes by name
    "IN-01": ("MUST", ("Samira Kohli", "para 32", "Bhushan Raina")),
    "IN-02": ("MUST", ("Samira Kohli", "para 32")),
    "IN-03": ("MUST", ("Samira Kohli", "para 32")),
    "IN-04": ("MUST", ("Samira Kohli", "para 32")),
    "IN-05": ("MUST", ("Samira Kohli", "para 32")),
    "IN-06": ("MUST", ("Samira Kohli", "para 32")),
    "IN-07": ("SHOULD", ("Samira Kohli", "para 32")),
    "IN-08": ("MUST", ("2002", "7.16")),
    "IN-09": ("MUST", ("Samira Kohli", "2002")),
    "IN-10": ("MUST", ("Bharatiya Nyaya Sanhita 2023, s. 27",)),
    "IN-11": ("MUST", ("Bharatiya Nyaya Sanhita 2023, s. 28", "Mental Healthcare Act 2017, s. 4")),
    "IN-12": ("SHOULD", ("Mental Healthcare Act 2017, s. 4",)),
    "IN-13": ("IF", ("Medical Devices Rules 2017",)),
    "IN-14": ("IF", ("General Clauses Act 1897, s. 3(56)",)),
    "IN-15": ("IF", ("Medical Devices Rules 2017",)),
    "IN-16": ("SHOULD", ("draft regulations 2022, s. 19",)),
    "IN-17": ("MUST", ("UP.01.01.01", "WHO Surgical Safety Checklist")),
    "IN-18": ("MUST", ("Digital Personal Data Protection Act 2023, ss. 5-6", "phased")),
    "IN-19": ("MUST", ("Digital Personal Data Protection Act 2023, s. 9(1)", "phased")),
    "IN-20": ("MUST NOT", ("Samira Kohli", "Bhushan Raina")),
    "IN-21": ("SHOULD", ("Norms of Service Delivery in Eye Camps 2015",)),
    "IN-22": ("SHOULD", ("Samira Kohli", "Digital Personal Data Protection Act 2023")),
    # Council of Europe, Oviedo Convention, ETS 164 (1997)
    "EU-01": ("MUST", ("Oviedo", "Art. 5")),
    "EU-02": ("MUST", ("Oviedo", "Art. 5")),
    "EU-03": ("MUST", ("Oviedo", "Art. 5")),
    "EU-04": ("MUST", ("Oviedo", "Art. 5")),
    "EU-05": ("MUST", ("Oviedo", "Art. 5")),
    "EU-06": ("IF", ("Oviedo", "Art. 6")),
    "EU-07": ("IF", ("Oviedo", "Art. 10")),
    "EU-08": ("IF", ("national law",)),
    # Joint Commission, Universal Protocol; WHO Surgical Safety Checklist 2008; NICE NG77
    "SM-01": ("MUST", ("UP.01.01.01",)),
    "SM-02": ("MUST", ("UP.01.01.01",)),
    "SM-03": ("MUST", ("WHO Surgical Safety Checklist", "Universal Protocol")),
    "SM-04": ("MUST", ("UP.01.02.01",)),
    "SM-05": ("MUST", ("WHO Surgical Safety Checklist", "UP.01.03.01")),
    "SM-06": ("SHOULD", ("UP.01.03.01", "NG77")),
    # GMC 2020 for the two stages; Vallance 2004, Tan 2008, Scanlan 2003 for what patients want and remember
    "ST-01": ("SHOULD", ("GMC", "2020")),
    "ST-02": ("SHOULD", ("GMC", "2020")),
    "ST-03": ("SHOULD", ("GMC", "2020", "Reviewing decisions")),
    "ST-04": ("SHOULD", ("Thefaut v Johnston",)),
    "ST-05": ("SHOULD", ("GMC", "2020", "Oviedo")),
    "ST-06": ("IF", ("42 CFR 441.258",)),
    "ST-07": ("SHOULD", ("GMC", "42-45", "State Operations Manual")),
    "ST-08": ("IF", ("Vallance 2004",)),
    "ST-09": ("SHOULD", ("GMC", "Scanlan 2003")),
    "ST-10": ("SHOULD", ("Scanlan 2003",)),
    "ST-11": ("SHOULD", ("Tan 2008", "10.2147/tcrm.s3706")),
    "ST-12": ("IF", ("Oviedo", "Art. 10")),
    # Glaser 2020 for teach-back; Morgan and Schwab 1986 for what must be retained; Sinha 2012 for other languages
    "UN-01": ("SHOULD", ("Glaser 2020", "10.1177/0272989X19896348")),
    "UN-02": ("SHOULD", ("Vallance 2004", "Morgan and Schwab 1986")),
    "UN-03": ("SHOULD", ("Scanlan 2003", "against: Pesudovs")),
    "UN-04": ("SHOULD", ("Karan 2011",)),
    "UN-05": ("SHOULD", ("Mental Healthcare Act 2017, s. 4",)),
    "UN-06": ("SHOULD", ("nature.com/articles/6701420",)),
    "UN-07": ("SHOULD", ("Grabeel 2018", "10.5195/jmla.2018.262")),
    "UN-08": ("SHOULD", ("Sinha 2012",)),
    # IPDASi probability items; Trevena 2013; Knapp 2015 and Webster 2017 on words for chances; GMC paras 21-24
    "RK-01": ("SHOULD", ("Trevena 2013", "Sirota 2014")),
    "RK-02": ("SHOULD", ("IPDASi item 8",)),
    "RK-03": ("SHOULD", ("IPDASi item 2",)),
    "RK-04": ("SHOULD", ("IPDASi item 4",)),
    "RK-05": ("SHOULD", ("Montgomery",)),
    "RK-06": ("SHOULD", ("GMC", "21-24")),
    "RK-07": ("IF", ("GMC", "21-24")),
    "RK-08": ("SHOULD", ("van der Bles 2020",)),
    "RK-09": ("SHOULD", ("project rule",)),
    "RK-10": ("IF", ("Knapp 2015", "Webster 2017")),
    "RK-11": ("IF", ("Galesic 2009",)),
    "RK-12": ("SHOULD", ("van der Bles 2020",)),
}

# Nobody has read these sources: GMC paras 21-24 as a list, General Clauses Act s. 3(56), Oviedo Arts 6 and 10
FROM_MEMORY = {"UK-08", "UK-09", "UK-10", "IN-14", "EU-06", "EU-07", "ST-12"}

# Where an element may speak of law: a legal representative signs, no legal right is taken away, national law adds
SPEAKS_OF_LAW = {"US-05", "US-19", "ST-10", "EU-08"}
LAW = re.compile(r"\b(laws?|lawful\w*|legal\w*|statut\w+|illegal\w*|mandatory|compulsory|obligat\w+)\b", re.IGNORECASE)
GUIDANCE = re.compile(r"GMC|NICE|NG77|CMS|RCS|Universal Protocol|WHO|IPDASi|doi:|PMID")


def shipped_elements() -> dict[str, Element]:
    return {key: element for name in SETS for key, element in element_set(name).items()}


def ids(elements: Iterable[Element]) -> list[str]:
    return [element.id for element in elements]  # type: ignore[attr-defined]


def levels(chosen: Profile) -> dict[str, str]:
    return {element.id: element.level for element in chosen.elements}


# The elements


@pytest.mark.parametrize("name", SETS)
def test_a_set_holds_its_elements_and_no_other_in_order(name: str) -> None:
    """A file with a key twice is refused by the TOML reader; one id in two files would show here."""
    assert list(element_set(name)) == [key for key in LEVELS if key.startswith(name)]


def test_every_element_is_in_a_set() -> None:
    assert element_ids() == frozenset(LEVELS)


@pytest.mark.parametrize("key", LEVELS)
def test_an_element_has_the_level_and_the_source_of_the_table(key: str) -> None:
    element, (level, words) = shipped_elements()[key], LEVELS[key]
    assert element.level == level
    assert [word for word in words if word not in element.source] == []


@pytest.mark.parametrize("key", LEVELS)
def test_an_element_has_text_source_and_how_it_was_read(key: str) -> None:
    """Read in the file itself, so that no default can stand in."""
    entry = tomllib.loads(package_data("review", "elements", f"{key[:2]}.toml").read_text(encoding="utf-8"))[key]
    assert all(entry[name].strip() for name in ("text", "source", "verified"))


def test_what_nobody_has_read_says_so_and_is_no_must() -> None:
    """A source from memory is not a hard rule until it was read: common practice, no source."""
    from_memory = {key for key, element in shipped_elements().items() if element.verified == "memory"}
    assert from_memory == FROM_MEMORY
    assert {LEVELS[key][0] for key in from_memory} == {"SHOULD", "IF"}


def test_every_if_has_its_condition() -> None:
    conditional = {key: element for key, element in shipped_elements().items() if element.level == "IF"}
    bare = [
        key
        for key, element in conditional.items()
        if not (element.when or element.setting or element.parts or element.forbidden or element.optional)
    ]
    assert set(conditional) == {key for key, (level, _) in LEVELS.items() if level == "IF"}
    assert bare == []


def test_an_if_without_condition_is_refused() -> None:
    with pytest.raises(ValueError, match="an IF names its condition"):
        Element(level="IF", text="Only sometimes", source="a source", verified="quoted")


@pytest.mark.parametrize("key", [key for key in LEVELS if key not in SPEAKS_OF_LAW])
def test_no_element_calls_guidance_law(key: str) -> None:
    """CMS's manual is guidance to surveyors, GMC and NICE are guidance: none is law.

    A source may name a statute; where it names guidance, it does not call it law.
    """
    element = shipped_elements()[key]
    assert LAW.findall(element.text) == []
    assert not (GUIDANCE.search(element.source) and LAW.search(element.source))


@pytest.mark.parametrize("key", sorted(SPEAKS_OF_LAW))
def test_where_an_element_speaks_of_law_it_is_of_rights_or_of_what_law_adds(key: str) -> None:
    text = shipped_elements()[key].text
    told = ("legal representative", "legal right", "national law adds", "law of the state adds")
    assert len(LAW.findall(text)) == sum(words in text for words in told) == 1


# The profiles


@pytest.mark.parametrize("name", PROFILES)
def test_a_profile_holds_its_own_set_and_the_common_ones(name: str) -> None:
    """The union of a place's own set with side, stages, understanding and risk; for no place named, Oviedo's floor."""
    own = [key for key in LEVELS if key[:2] == OWN[name]]
    common = [key for key in LEVELS if key[:2] in COMMON]
    found = ids(profile(name).elements)
    assert sorted(found) == sorted(own + common)
    assert profile(name).id == name


@pytest.mark.parametrize("name", PROFILES)
def test_only_the_second_stage_is_raised_and_only_in_the_united_kingdom(name: str) -> None:
    """GMC 2020, Reviewing decisions: the decision is reviewed just before treatment."""
    raised = {key: "MUST" for key in ("ST-02", "ST-03") if name == "UK"}
    expected = {key: raised.get(key, level) for key, (level, _) in LEVELS.items() if key[:2] in (OWN[name], *COMMON)}
    assert levels(profile(name)) == expected


@pytest.mark.parametrize("name", PROFILES)
def test_a_profile_has_a_caution_and_a_day_to_look_at_it_again(name: str) -> None:
    """A clinician and a lawyer in the place of use approve a profile before it is used."""
    found = profile(name)
    assert found.title.strip()
    assert all(word in found.caution for word in ("clinician", "lawyer", "Guidance is not called law"))
    assert 0 < (found.review_by - found.dated).days <= 366


@pytest.mark.parametrize("name", PROFILES)
def test_no_profile_calls_guidance_law(name: str) -> None:
    found = profile(name)
    without = found.caution.replace("Guidance is not called law here", "").replace("a lawyer", "")
    assert LAW.findall(f"{found.title} {without}") == []


def test_a_profile_that_is_not_there_is_refused(make_clinic: MakeClinic) -> None:
    with pytest.raises(ConsentError, match="Atlantis"):
        profile("Atlantis")
    with pytest.raises(ClinicError, match="profile"):
        make_clinic({"profile": "Atlantis"})


# What a clinic may add, and that it may take nothing away


@pytest.mark.parametrize("name", PROFILES)
def test_a_clinic_may_demand_more(name: str) -> None:
    """A SHOULD becomes a MUST, from the profile's own sets or from another's; the rest stays."""
    other = "UK-20" if name != "UK" else "US-08"
    before, after = levels(profile(name)), levels(profile(name, ("ST-09", other)))
    assert other not in before
    assert {key: level for key, level in after.items() if before.get(key) != level} == {"ST-09": "MUST", other: "MUST"}
    assert set(before) <= set(after)


@pytest.mark.parametrize("name", PROFILES)
def test_nothing_a_clinic_demands_lowers_anything(name: str) -> None:
    """Even where it names every id there is: a condition stays a condition, what must not be stays so."""
    after = levels(profile(name, tuple(LEVELS)))
    expected = {key: "MUST" if level == "SHOULD" else level for key, (level, _) in LEVELS.items()}
    assert after == expected


@pytest.mark.parametrize("key", ["left_out", "optional_elements", "elements", "must"])
def test_there_is_no_setting_that_takes_an_element_away(key: str, make_clinic: MakeClinic) -> None:
    with pytest.raises(ClinicError, match=key):
        make_clinic({key: ["IN-04"]})


@pytest.mark.parametrize("wrong", ["XX-99", "in-04", "IN-4", "UK-21", "IN-04:bleeding"])
def test_an_id_nobody_knows_is_an_error_naming_it(wrong: str, make_case: MakeCase, make_clinic: MakeClinic) -> None:
    clinic = make_clinic({"required_elements": ["UK-20", wrong]})
    with pytest.raises(ClinicError) as raised:
        assess(make_case(), clinic)
    assert [problem.where for problem in raised.value.problems] == [f"clinic: required_elements: {wrong}"]
