"""The folder a case becomes."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import icalendar
import pytest

from consent.case import Outcome
from consent.clinic import Clinic
from consent.errors import MachineError, PrintError, UsageError
from consent.pack import SHEETS, Pack, assessment_data, compose_pack, files, write_pack
from consent.print import has_voice, machine_voice
from tests.conftest import shipped_case

NOW = datetime(2026, 12, 26, 8, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def folder(clinic: Clinic, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The ordinary case written once, in the languages it asks for."""
    folder = tmp_path_factory.mktemp("pack")
    write_pack(compose_pack(shipped_case("ordinary"), clinic), folder, NOW)
    return folder


def test_files_of_a_pack(folder: Path) -> None:
    assert sorted(path.name for path in folder.iterdir()) == [
        "assessment.json",
        "before-day.bn.html",
        "before-day.bn.pdf",
        "before-day.en.html",
        "before-day.en.pdf",
        "consent-form.bn-en.pdf",
        "consent-form.bn.html",
        "consent-form.en.html",
        "counsellor-guide.bn-en.pdf",
        "day-of-surgery.en.pdf",
        "drop-calendar.bn.html",
        "drop-calendar.bn.pdf",
        "drop-calendar.en.html",
        "drop-calendar.en.pdf",
        "drops.bn.txt",
        "drops.ics",
        "going-home.bn.html",
        "going-home.bn.pdf",
        "going-home.en.html",
        "going-home.en.pdf",
        "index.html",
        "risk-sheet.bn-en.pdf",
        "risk-sheet.bn.html",
        "risk-sheet.en.html",
        "separate-choices.bn-en.pdf",
        "separate-choices.bn.html",
        "separate-choices.en.html",
        "surgeon-review.en.pdf",
    ]


def test_a_language_that_cannot_be_read_aloud_is_refused_before_anything_is_written(
    clinic: Clinic, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(machine_voice, "has_voice", lambda tag: tag != "en")
    pack = compose_pack(shipped_case("ordinary"), clinic, (), ("going-home",))
    with pytest.raises(MachineError, match="no machine voice for 'en'"):
        write_pack(pack, tmp_path / "pack", NOW, audio=True)
    assert not (tmp_path / "pack").exists()


@pytest.mark.skipif(not has_voice("bn"), reason="espeak-ng is not on this machine")
def test_papers_for_home_are_read_aloud_where_that_is_asked_for(clinic: Clinic, tmp_path: Path) -> None:
    """In each of their languages, marked as a machine voice, opened from the index; the next pack without sound takes
    them away."""
    pack = compose_pack(shipped_case("ordinary"), clinic, (), ("going-home", "separate-choices"))
    write_pack(pack, tmp_path, NOW, audio=True)
    sounds = [path.name for path in sorted(tmp_path.iterdir()) if "machine-voice" in path.name]
    assert [name.rpartition(".")[0] for name in sounds] == [
        "going-home.bn.machine-voice",
        "going-home.en.machine-voice",
    ]
    html = (tmp_path / "index.html").read_text(encoding="utf-8")
    assert all(f'href="{name}"' in html for name in sounds)
    assert "read aloud by a machine voice" in html
    write_pack(pack, tmp_path, NOW)
    assert not list(tmp_path.glob("*machine-voice*"))


def test_index_opens_every_other_file(folder: Path) -> None:
    html = (folder / "index.html").read_text(encoding="utf-8")
    for path in folder.iterdir():
        if path.name != "index.html":
            assert f'href="{path.name}"' in html
    assert "DRAFT for review by the licensed clinician" in html


def test_calendar_file_holds_no_name_and_no_diagnosis(folder: Path) -> None:
    """Shared telephones: RFC 5545 text of every event is free of the patient's name and illness."""
    content = (folder / "drops.ics").read_text(encoding="utf-8")
    case = shipped_case("ordinary")
    assert case.patient.name not in content
    assert case.patient.record_number not in content
    assert "ছানি" not in content
    calendar = icalendar.Calendar.from_ical(content)
    assert len(calendar.walk("VEVENT")) > 4


def test_assessment_is_one_object_with_the_documented_keys(folder: Path) -> None:
    """Source: the table in README.md."""
    data = json.loads((folder / "assessment.json").read_text(encoding="utf-8"))
    assert {"risks", "points", "drops", "completeness", "translations"} <= set(data)
    assert data["final"] is False
    rupture = next(risk for risk in data["risks"] if risk["outcome"] == "capsule_rupture")
    assert {"probability", "interval", "usual", "horizon", "population", "sources", "known"} <= set(rupture)
    assert all({"figure", "verified", "citation"} <= set(source) for source in rupture["sources"])
    assert {"rows", "bottles", "days", "totals"} <= set(data["drops"])


def test_no_drop_after_its_last_day(packs: dict[str, Pack]) -> None:
    for pack in packs.values():
        drops = assessment_data(pack)["drops"]
        last = {row["number"]: row["last"] for row in drops["rows"]}
        for day in drops["days"]:
            for session in day["sessions"]:
                assert all(day["date"] <= last[number] for number in session["bottles"])


def test_days_sessions_and_totals_agree(packs: dict[str, Pack]) -> None:
    for pack in packs.values():
        drops = assessment_data(pack)["drops"]
        timed = sum(len(session["bottles"]) for day in drops["days"] for session in day["sessions"])
        given = timed + sum(count for day in drops["days"] for count in day["untimed"].values())
        assert given == drops["totals"]["drops"] == sum(row["drops"] for row in drops["rows"])


def test_hard_case_has_a_figure_with_its_range_a_pupil_point_and_a_lens_point(packs: dict[str, Pack]) -> None:
    data = assessment_data(packs["hard"])
    rupture = next(risk for risk in data["risks"] if risk["outcome"] == "capsule_rupture")
    assert rupture["interval"]["low"] < rupture["probability"] < rupture["interval"]["high"]
    ids = {point["id"] for point in data["points"]}
    assert {"pupil.small-for-hard-lens", "lens.not-on-shelf"} <= ids


def test_same_case_same_data_and_same_calendar(clinic: Clinic) -> None:
    one, two = (compose_pack(shipped_case("hard"), clinic) for _ in range(2))
    assert assessment_data(one) == assessment_data(two)
    assert files.calendar_file(one, NOW) == files.calendar_file(two, NOW)


def test_only_the_sheets_asked_for(clinic: Clinic) -> None:
    pack = compose_pack(shipped_case("ordinary"), clinic, ("en",), ("going-home",))
    assert [document.sheet for document in pack.documents] == ["going-home"]
    assert pack.completeness, "completeness is proved on the form even where the form is not printed"


# The form first, then what is a part of it or read beside it, the days before and of surgery, what goes home, what may
# come after, the surgeon's own last: the order in which they are taken up. Common practice, no source.
IN_ORDER = [
    "consent-form",
    "risk-sheet",
    "separate-choices",
    "counsellor-guide",
    "decision",
    "before-day",
    "day-of-surgery",
    "going-home",
    "drop-calendar",
    "not-to-plan",
    "referral-letter",
    "lens-card",
    "surgeon-review",
]
ALWAYS = {"consent-form", "risk-sheet", "separate-choices", "counsellor-guide", "day-of-surgery", "going-home"}


@pytest.mark.parametrize("outcome", ["agrees", "wants time"])
def test_the_sheets_come_in_order(outcome: str, clinic: Clinic) -> None:
    case = shipped_case("ordinary")
    talk = case.talk.model_copy(update={"outcome": Outcome(outcome)})
    pack = compose_pack(case.model_copy(update={"talk": talk}), clinic, ("en",))
    found = [document.sheet for document in pack.documents]
    assert found == [name for name in IN_ORDER if name in found]
    assert {*ALWAYS, "drop-calendar", "surgeon-review"} <= set(found)
    assert ("decision" in found) == (outcome != "agrees")
    assert list(SHEETS) == IN_ORDER


def test_a_language_without_words_is_refused_by_name(clinic: Clinic) -> None:
    with pytest.raises(UsageError, match=r'no words in "mr"'):
        compose_pack(shipped_case("ordinary"), clinic, ("mr",))


def test_a_failing_sheet_leaves_no_half_file(clinic: Clinic, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> bytes:
        raise PrintError([])

    monkeypatch.setattr(files, "to_pdf", broken)
    with pytest.raises(PrintError):
        write_pack(compose_pack(shipped_case("ordinary"), clinic), tmp_path / "pack", NOW)
    assert list((tmp_path / "pack").iterdir()) == []


def test_an_interrupted_write_leaves_the_old_file_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "sheet.pdf"
    files.write_whole(path, b"old")

    def fail(self: Path, target: Path) -> Path:
        raise OSError("disk full")

    monkeypatch.setattr(Path, "replace", fail)
    with pytest.raises(OSError, match="disk full"):
        files.write_whole(path, b"new")
    assert path.read_bytes() == b"old"
    assert [entry.name for entry in tmp_path.iterdir()] == ["sheet.pdf"]


def test_a_folder_that_cannot_be_made_is_said(clinic: Clinic, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(MachineError, match="folder cannot be made"):
        write_pack(compose_pack(shipped_case("ordinary"), clinic), tmp_path / "file" / "pack", NOW)


def names_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_pack_over_a_pack_leaves_nothing_of_the_earlier_one(clinic: Clinic, tmp_path: Path) -> None:
    """A sheet in a language no longer asked for is of the earlier version; what no pack writes stays."""
    case = shipped_case("ordinary")
    write_pack(compose_pack(case, clinic, ("hi",), ("going-home", "drop-calendar")), tmp_path, NOW)
    assert {"going-home.hi.pdf", "drop-calendar.hi.pdf", "drops.bn.txt"} <= set(names_in(tmp_path))
    for name in ("going-home.signed.pdf", "drops.hi.txt", "drops.old.txt", "scan.pdf"):
        (tmp_path / name).write_bytes(b"x")
    patient = case.patient.model_copy(update={"language": "en"})
    newer = case.model_copy(update={"patient": patient, "version": 2})
    written = write_pack(compose_pack(newer, clinic, ("en",), ("going-home",)), tmp_path, NOW)
    kept = {"going-home.signed.pdf", "drops.old.txt", "scan.pdf"}
    assert set(names_in(tmp_path)) == {entry.path.name for entry in written} | kept
    assert "drops.ics" in names_in(tmp_path)


def test_a_folder_no_pack_was_written_to_keeps_its_files(clinic: Clinic, tmp_path: Path) -> None:
    (tmp_path / "going-home.hi.pdf").write_bytes(b"x")
    write_pack(compose_pack(shipped_case("ordinary"), clinic, ("en",), ("going-home",)), tmp_path, NOW)
    assert "going-home.hi.pdf" in names_in(tmp_path)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ('{"record_number": "OTHER/7"}', r"papers of another patient \(record OTHER/7\)"),
        ("{", "does not say whose"),
        ("[]", "does not say whose"),
        ('{"record_number": 7}', "does not say whose"),
    ],
)
def test_another_patients_folder_is_refused(clinic: Clinic, tmp_path: Path, content: str, said: str) -> None:
    """Sheets of two patients side by side end in the wrong hands; nothing is written, nothing removed."""
    (tmp_path / "assessment.json").write_text(content, encoding="utf-8")
    (tmp_path / "going-home.hi.pdf").write_bytes(b"x")
    with pytest.raises(UsageError, match=rf"{said}(.|\n)*choose another folder"):
        write_pack(compose_pack(shipped_case("ordinary"), clinic, ("en",), ("going-home",)), tmp_path, NOW)
    assert names_in(tmp_path) == ["assessment.json", "going-home.hi.pdf"]
    assert (tmp_path / "assessment.json").read_text(encoding="utf-8") == content


def test_a_stale_sheet_that_cannot_be_removed_is_said(clinic: Clinic, tmp_path: Path) -> None:
    pack = compose_pack(shipped_case("ordinary"), clinic, ("en",), ("going-home",))
    write_pack(pack, tmp_path, NOW)
    (tmp_path / "going-home.hi.pdf").mkdir()
    with pytest.raises(MachineError, match=r"going-home\.hi\.pdf: .*cannot be removed"):
        write_pack(pack, tmp_path, NOW)


def test_drop_free_plan_still_prints_signs_visits_and_telephone(clinic: Clinic) -> None:
    """A plan without drops prints warning signs, shield, visits and telephone all the same."""
    case = shipped_case("ordinary")
    free = case.model_copy(update={"plan": case.plan.model_copy(update={"regimen": "drop-free"})})
    pack = compose_pack(free, clinic, ("en",))
    home = next(document for document in pack.documents if document.sheet == "going-home")
    texts = "\n".join(home.texts())
    for words in ("You see less than the day before", "Wear the shield at night", "Measure the eye pressure", "00000"):
        assert words in texts
    wall = next(document for document in pack.documents if document.sheet == "drop-calendar")
    assert any("no drops to put in at home" in text for text in wall.texts())
