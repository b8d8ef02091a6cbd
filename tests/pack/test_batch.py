"""A whole list: nobody stops anybody, nothing is done twice, nothing finished is changed unasked.

The rules are those of the issue of the operating day: common practice, no source.
"""

from __future__ import annotations

import hashlib
import json
import multiprocessing
import re
from pathlib import Path

import icalendar
import pytest

from consent.case import Case
from consent.case.reading import validate
from consent.clinic import Clinic
from consent.errors import CaseError, UsageError
from consent.pack import batch_job
from consent.pack.batch import Batch, Order, run_batch
from consent.pack.batch_job import DONE, Finished, Wanted, job_of, read_finished
from consent.pack.batch_state import alone
from tests.pack.invented_list import invented_cases
from tests.pack.list_work import DIES, FAULT, NO_WORDS, NOW, go_wrong

SMALL = ("separate-choices",)


@pytest.fixture(autouse=True)
def _the_same_program(monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody may write to the source while tests run."""
    monkeypatch.setattr(batch_job, "program_digest", lambda: "the same program")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory, clinic: Clinic) -> Batch:
    """Five patients, three of whom go wrong each in another way."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(batch_job, "program_digest", lambda: "the same program")
        root = tmp_path_factory.mktemp("list")
        return run_batch(invented_cases(5), clinic, root, NOW, Order(2, sheets=SMALL), work=go_wrong)


def digests(root: Path) -> dict[str, str]:
    """SHA-256 of every file under ``root`` that a person may open."""
    files = (path for path in sorted(root.rglob("*")) if path.is_file() and not path.name.startswith("."))
    return {str(path.relative_to(root)): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def moments(root: Path) -> dict[str, int]:
    return {str(path.relative_to(root)): path.stat().st_mtime_ns for path in root.glob("patients/*/*")}


def result(batch: Batch, number: str) -> Finished:
    numbers = [case.patient.record_number for case in batch.cases]
    return batch.results[numbers.index(number)]


def test_who_fails_or_kills_the_process_stops_nobody(made: Batch) -> None:
    assert [one.is_made for one in made.results] == [True, False, False, False, True]
    assert all(made.folder(at).is_dir() == one.is_made for at, one in enumerate(made.results))
    assert not list((made.root / "patients").glob(".*"))


@pytest.mark.parametrize(
    ("number", "what"),
    [(DIES, "the process that made this pack died"), (NO_WORDS, "a word is missing"), (FAULT, "ZeroDivisionError")],
)
def test_each_failure_is_told_in_words(number: str, what: str, made: Batch) -> None:
    assert what in result(made, number).problems[0].what


def test_the_text_of_an_unforeseen_fault_is_not_told_for_it_may_quote_the_patient(made: Batch) -> None:
    assert "Shanti" not in str(result(made, FAULT).problems[0])


def test_the_next_run_makes_those_who_failed_and_nobody_else(made: Batch, clinic: Clinic) -> None:
    before, told = moments(made.root), list[object]()
    again = run_batch(
        made.cases, clinic, made.root, NOW.replace(hour=20), Order(2, sheets=SMALL), lambda *args: told.append(args)
    )
    assert all(one.is_made for one in again.results)
    assert again.kept == 2
    assert told[0] == (None, 2, 5)
    assert len(told) == 4
    assert before.items() <= moments(made.root).items()
    assert again.made_at == NOW


def test_no_name_and_no_record_number_stands_in_a_path(made: Batch) -> None:
    paths = "\n".join(str(path.relative_to(made.root)) for path in made.root.rglob("*"))
    for case in made.cases:
        assert case.patient.record_number not in paths
        assert not any(part in paths for part in case.patient.name.split())
    assert re.fullmatch(r"(p-[0-9a-f]{12} ?)+", " ".join(path.name for path in (made.root / "patients").iterdir()))


def test_a_case_goes_to_its_process_and_comes_back_the_same(clinic: Clinic) -> None:
    for case in invented_cases(8, seed=3):
        job = job_of(case, clinic, Wanted(NOW))
        assert validate(dict(job.case), Case, CaseError, "case") == case
    here, other = multiprocessing.Pipe()
    here.send(clinic)
    there = other.recv()
    assert (there, there.words_folder) == (clinic, clinic.words_folder)


@pytest.mark.parametrize("damage", ["cut", "taken away", "not made of this"])
def test_a_pack_that_is_not_whole_or_made_of_something_else_does_not_count(
    damage: str, made: Batch, tmp_path: Path
) -> None:
    import shutil

    folder = shutil.copytree(made.folder(0), tmp_path / "pack")
    assert read_finished(folder, made.results[0].digest) is not None
    sheet = next(folder.glob("*.pdf"))
    if damage == "cut":
        sheet.write_bytes(sheet.read_bytes()[:-1])
    elif damage == "taken away":
        sheet.unlink()
    assert read_finished(folder, "another" if damage == "not made of this" else None) is None


def test_two_runs_in_one_folder_are_refused(tmp_path: Path, clinic: Clinic) -> None:
    with alone(tmp_path), pytest.raises(UsageError, match="another run is working"):
        run_batch(invented_cases(1), clinic, tmp_path, NOW, Order())
    with alone(tmp_path):
        pass


def test_one_eye_twice_on_one_day_is_refused(tmp_path: Path, clinic: Clinic) -> None:
    (case,) = invented_cases(1)
    with pytest.raises(UsageError, match="INV-0001 stands twice"):
        run_batch([case, case], clinic, tmp_path, NOW, Order())


def test_only_who_has_changed_is_made_anew_and_the_calendar_takes_back_what_no_longer_holds(
    tmp_path: Path, clinic: Clinic
) -> None:
    cases, order = invented_cases(2, seed=5), Order(1, sheets=SMALL)
    first = run_batch(cases, clinic, tmp_path, NOW, order)
    (first.folder(1) / "scan.jpg").write_bytes(b"a scan that somebody put there")
    before, old = moments(tmp_path), (first.folder(1) / "drops.ics").read_bytes()
    plan = cases[1].plan.model_copy(update={"regimen": "drop-free"})
    other = [cases[0], cases[1].model_copy(update={"plan": plan, "version": cases[1].version + 1})]
    with pytest.raises(UsageError, match="--only changed"):
        run_batch(other, clinic, tmp_path, NOW, order)
    assert moments(tmp_path) == before
    later = NOW.replace(hour=20)
    second = run_batch(other, clinic, tmp_path, later, Order(1, sheets=SMALL, only_changed=True))
    assert (second.kept, second.made_at, second.no_longer) == (1, later, ())
    kept = {name: moment for name, moment in before.items() if name.startswith(f"patients/{first.results[0].name}/")}
    after = moments(tmp_path)
    assert kept.items() <= after.items()
    assert after[f"patients/{second.results[1].name}/{DONE}"] not in before.values()
    assert (second.folder(1) / "scan.jpg").exists()
    said = {str(event["UID"]): event for event in icalendar.Calendar.from_ical(old).walk("VEVENT")}
    now = icalendar.Calendar.from_ical((second.folder(1) / "drops.ics").read_bytes()).walk("VEVENT")
    assert any(event.get("STATUS") == "CANCELLED" and str(event["UID"]) in said for event in now)


def test_who_is_no_longer_on_the_list_keeps_the_folder_and_is_told(tmp_path: Path, clinic: Clinic) -> None:
    cases = invented_cases(2, seed=6)
    first = run_batch(cases, clinic, tmp_path, NOW, Order(2, sheets=SMALL))
    second = run_batch(cases[:1], clinic, tmp_path, NOW, Order(2, sheets=SMALL, only_changed=True))
    assert second.no_longer == (first.folder(1),)
    assert (first.folder(1) / DONE).exists()
    assert json.loads((tmp_path / "list.json").read_text())["of"]


def test_a_review_of_words_makes_a_pack_another(tmp_path: Path, clinic: Clinic) -> None:
    """Papers that were practice copies would else be kept when the clinic has vouched for their words."""
    (case,) = invented_cases(1, seed=7)
    own = clinic.model_copy(update={"reviewed_words": "."}).beside(tmp_path / "clinic.toml")
    digests = [job_of(case, own, Wanted(NOW)).digest]
    for content in ("one", "one", "two"):
        (tmp_path / "bn.toml").write_text(content, encoding="utf-8")
        digests.append(job_of(case, own, Wanted(NOW)).digest)
    assert digests[0] != digests[1] == digests[2] != digests[3]
