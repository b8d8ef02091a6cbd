"""``consent verify`` as whoever holds a paper meets it: a file, a photograph, a code; with the record or not."""

from __future__ import annotations

import datetime as dt
import json
import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from PIL import Image, ImageFilter

from consent.clinic import Clinic
from consent.commands import verify
from consent.commands.main import main
from consent.compose.page_code import CodeParts, code_text, short_code
from consent.record import making
from consent.record.certificate import pem
from consent.record.erasure import erase
from consent.record.keeping_certificate import keep_local_certificate, read_own_certificate
from consent.record.papers import read_paper
from consent.record.place import Place, Record, make_record, open_record
from consent.record.state import AFTERCARE, CONSENT, SealedSet
from tests.record.clock import TestClock
from tests.record.sealing import AT, NAME, REASON, Sealed, make_sealed, sign
from tests.record.story import IST, PASSWORDS, Staff, Story, make_staff

ONE_SHEET = {CONSENT: ("separate-choices",), AFTERCARE: ("lens-card",)}
"""Of each set one small sheet is printed here: what the record says of a paper does not hang on which it is."""
SURGERY = dt.datetime(2027, 2, 24, 9, 0, tzinfo=IST)
LATER = AT + dt.timedelta(days=10)


@dataclass
class Desk:
    """A record with papers that hold, that were replaced, and that are void; each as a file, and its code."""

    folder: Path
    record: Record
    staff: Staff
    subject: str
    sets: dict[str, SealedSet]

    def file(self, name: str) -> str:
        return str(self.folder / f"{name}.pdf")

    def code(self, name: str) -> str:
        return code_text(CodeParts("DEMO-0001", self.sets[name].version, self.sets[name].code))

    @property
    def options(self) -> tuple[str, str]:
        return "--record", str(self.record.place.folder)

    @property
    def certificate(self) -> str:
        return str(self.folder / "clinic.pem")


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory, clinic: Clinic) -> Iterator[Desk]:
    """Two cases: one up to the papers for home, which were given out twice; one sent back after it was signed off."""
    folder = tmp_path_factory.mktemp("desk")
    clock = TestClock(AT)
    record = make_record(Place(folder / "record"), clinic, clock)
    keep_local_certificate(record)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(making, "sheets_of", ONE_SHEET.__getitem__)
        patch.setattr(making, "hindrances", lambda pack, stage: iter(()))
        made = _papers(folder, record, clock)
    for name, sealed in made.sets.items():
        Path(made.file(name)).write_bytes(read_paper(record, sealed.papers[0].digest))
    Path(made.certificate).write_bytes(pem(read_own_certificate(record).certificate))
    yield made
    record.close()


def _papers(folder: Path, record: Record, clock: TestClock) -> Desk:
    staff = make_staff(record)
    whole, back = Story(record, staff), Story(record, staff)
    for story in (whole, back):
        story.open()
        story.explain(AT - dt.timedelta(minutes=30))
        story.accept_figures()
        story.sign_off()
    back.enter(staff.surgeon, "sent-back", reason="The other lens was meant.")
    whole.consent()
    clock.now = SURGERY
    whole.confirm(SURGERY - dt.timedelta(minutes=5))
    whole.operate()
    whole.issue_aftercare()
    whole.issue_aftercare()
    consent, replaced, current = whole.now.sets
    (void,) = back.now.sets
    sets = {"consent": consent, "replaced": replaced, "current": current, "void": void}
    return Desk(folder, record, staff, whole.subject, sets)


@pytest.fixture(scope="module")
def foreign(clinic: Clinic) -> Sealed:
    """Papers signed with certificates that this record does not know, one of them in the clinic's name."""
    return make_sealed(clinic)


@pytest.fixture(autouse=True)
def _a_machine_without_a_record(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for variable in ("CONSENT_CLINIC", "CONSENT_RECORD"):
        monkeypatch.delenv(variable, raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setattr(verify, "now", lambda: LATER)


@dataclass
class Said:
    code: int
    out: str
    err: str

    @property
    def verdict(self) -> str:
        return self.out.splitlines()[0].partition(": ")[2]


@pytest.fixture
def ask(capsys: pytest.CaptureFixture[str]) -> Any:
    def asked(*arguments: str) -> Said:
        code = main(["verify", *arguments])
        return Said(code, *capsys.readouterr())

    return asked


def test_without_a_record_signature_and_data_are_checked_and_no_more_is_claimed(desk: Desk, ask: Any) -> None:
    said = ask("--offline", desk.file("current"))
    assert said.code == 0
    assert said.verdict == verify._SOMEBODY_SIGNED
    assert "hold its fingerprint against that of the clinic's own" in said.out
    assert read_own_certificate(desk.record).certificate.fingerprint in said.out
    assert "The record was not looked into" in said.out


def test_without_a_record_even_a_void_paper_is_only_what_was_signed(desk: Desk, ask: Any) -> None:
    said = ask("--certificate", desk.certificate, desk.file("void"))
    assert (said.code, said.verdict) == (0, verify._CLINIC_SIGNED)
    assert "it may have been replaced since" in said.out.replace("the paper", "it")


def test_another_certificate_is_not_the_clinics(desk: Desk, foreign: Sealed, ask: Any, tmp_path: Path) -> None:
    """Though it bears the clinic's name: anybody can make one."""
    path = tmp_path / "forged.pdf"
    path.write_bytes(foreign.one)
    assert NAME in foreign.certificate.subject
    for options in (("--certificate", desk.certificate), desk.options):
        said = ask(*options, str(path))
        assert (said.code, said.verdict) == (12, "DO NOT RELY ON IT")
        assert "not of this clinic's certificate" in said.err


def test_the_version_that_holds(desk: Desk, ask: Any) -> None:
    for name in ("consent", "current"):
        said = ask(*desk.options, desk.file(name))
        assert (said.code, said.verdict) == (0, verify._HOLDS), said.err


def test_the_record_is_found_by_its_variable_and_left_alone_when_told_so(
    desk: Desk, ask: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CONSENT_RECORD", str(desk.record.place.folder))
    assert ask(desk.file("current")).verdict == verify._HOLDS
    assert ask("--offline", desk.file("current")).verdict == verify._SOMEBODY_SIGNED


def test_a_paper_that_was_replaced(desk: Desk, ask: Any) -> None:
    said = ask(*desk.options, desk.file("replaced"))
    assert (said.code, said.verdict) == (12, "DO NOT RELY ON IT")
    assert re.search(r"replaced on 2027-02-24 03:30 UTC by version \d", said.err)
    assert "the version that holds is" in said.err


def test_a_paper_that_is_void(desk: Desk, ask: Any) -> None:
    said = ask(*desk.options, desk.file("void"))
    assert (said.code, said.verdict) == (12, "DO NOT RELY ON IT")
    assert "void since 2027-02-22 06:00 UTC: Dr Asha Invented entered sent-back" in said.err
    assert "there is no version that holds now" in said.err


def test_as_json_everything_is_told(desk: Desk, ask: Any) -> None:
    said = ask(*desk.options, "--json", desk.file("void"), desk.file("current"))
    assert said.code == 12
    void, current = json.loads(said.out)
    assert (void["holds"], current["holds"]) == (False, True)
    ended = desk.sets["void"].void
    assert ended is not None
    assert void["record"]["standing"] == "void"
    assert void["record"]["by_entry"] == {"sequence": ended.sequence, "at": ended.at.isoformat(), "kind": "sent-back"}
    assert current["record"]["standing"] == "current"
    assert current["record"]["sheet"] == "lens-card"
    assert current["signature"]["code"] == desk.sets["current"].code
    assert current["data"]["record_number"] == "DEMO-0001"


def test_the_data_inside_can_be_printed(desk: Desk, ask: Any) -> None:
    said = ask("--offline", "--data", desk.file("current"))
    data = json.loads(said.out[said.out.index("\n{") :])
    assert data["ledger"]["sequence"] == desk.sets["current"].sequence - 1


def test_one_bad_paper_among_good_ones_is_named(desk: Desk, ask: Any, tmp_path: Path) -> None:
    altered = tmp_path / "altered.pdf"
    content = bytearray(Path(desk.file("current")).read_bytes())
    content[len(content) // 2] ^= 1
    altered.write_bytes(content)
    said = ask(*desk.options, desk.file("current"), str(altered))
    assert said.code == 12
    assert f"{desk.file('current')}: {verify._HOLDS}" in said.out
    assert f"{altered}: DO NOT RELY ON IT" in said.out
    assert str(altered) in said.err
    assert desk.file("current") not in said.err


def test_a_paper_signed_past_the_record_is_not_of_it(desk: Desk, ask: Any, tmp_path: Path) -> None:
    """With the clinic's own key, and the code of a paper that holds: only the kept file is the one."""
    path = tmp_path / "again.pdf"
    unsigned = Path(desk.file("current")).read_bytes()
    end = unsigned.index(b"%%EOF") + 6
    path.write_bytes(sign(unsigned[:end], read_own_certificate(desk.record), LATER, REASON, NAME))
    assert ask("--certificate", desk.certificate, str(path)).code == 0
    said = ask(*desk.options, str(path))
    assert said.code == 12
    assert "this record knows the code, but not this file" in said.err


def test_a_paper_of_a_record_that_was_put_back_to_an_older_state(
    desk: Desk, ask: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The paper holds the hash of the last entry before it; a ledger that has another there was altered."""
    from consent.record import standing

    monkeypatch.setattr(standing, "stored_hash", lambda connection, sequence: "0" * 64)
    said = ask(*desk.options, desk.file("current"))
    assert said.code == 12
    assert "of the ledger is not the one this paper was signed after" in said.err


def test_a_paper_of_a_patient_who_was_erased(desk: Desk, ask: Any, clinic: Clinic, tmp_path: Path) -> None:
    """The chain still knows the digest of each paper: the file in the patient's hand can be told from a forged one."""
    shutil.copytree(desk.record.place.folder, tmp_path / "record")
    record = open_record(Place(tmp_path / "record"), clinic, TestClock(LATER))
    Story(record, desk.staff, desk.subject).enter(desk.staff.surgeon, "closed")
    erase(record, desk.staff.lead, desk.subject, PASSWORDS["lila"], "The patient asked for it.", before_retention=True)
    record.close()
    for given in ((desk.file("current"),), ("--code", desk.code("current"))):
        said = ask("--record", str(tmp_path / "record"), *given)
        assert said.code == 0, said.err
        assert "were erased from the record on 2027-03-04" in said.out


def test_a_typed_code_whole_or_short(desk: Desk, ask: Any) -> None:
    for text in (desk.code("current"), desk.code("current").lower(), " ".join(short_code(desk.sets["current"].code))):
        said = ask(*desk.options, "--code", text)
        assert (said.code, said.verdict) == (0, verify._CODE_HOLDS), said.err
        assert "signed off by dr asha invented" in said.out.lower()
        assert "A code can be copied" in said.out
    for name, why in (("void", "void since"), ("replaced", "replaced on")):
        said = ask(*desk.options, "--code", desk.code(name))
        assert said.code == 12
        assert why in said.err


def test_a_code_put_together_from_two_papers(desk: Desk, ask: Any) -> None:
    sealed = desk.sets["current"]
    for parts in (
        CodeParts("DEMO-0002", sealed.version, sealed.code),
        CodeParts("DEMO-0001", sealed.version + 1, sealed.code),
    ):
        said = ask(*desk.options, "--code", code_text(parts))
        assert (said.code, said.verdict) == (12, "DO NOT RELY ON IT")
        assert "put the code together from two papers" in said.err


def test_a_code_nobody_knows_and_what_is_no_code(desk: Desk, foreign: Sealed, ask: Any) -> None:
    assert "this record does not know the paper" in ask(*desk.options, "--code", foreign.code).err
    for text, why in (("CONSENT:A:1:B", "not a code of signed paper"), ("what?", "not the short code")):
        said = ask(*desk.options, "--code", text)
        assert said.code == 12
        assert why in said.err


def test_without_a_record_nothing_is_claimed_of_a_code(desk: Desk, ask: Any) -> None:
    said = ask("--code", desk.code("void"))
    assert (said.code, said.verdict) == (0, verify._NO_RECORD)


@pytest.fixture(scope="module")
def photographs(desk: Desk) -> dict[int, Path]:
    """The page that is void, drawn by Poppler, turned by 4 degrees, a little out of focus."""
    found = {}
    for dots in (150, 200):
        stem = desk.folder / f"page.{dots}"
        subprocess.run(["pdftoppm", "-r", str(dots), "-singlefile", "-png", desk.file("void"), str(stem)], check=True)
        with Image.open(f"{stem}.png") as page:
            seen = page.convert("L").rotate(4, Image.Resampling.BICUBIC, expand=True, fillcolor=90)
        found[dots] = desk.folder / f"page.{dots}.jpg"
        seen.filter(ImageFilter.GaussianBlur(0.8 if dots == 150 else 1.2)).save(found[dots], quality=80)
    return found


@pytest.mark.parametrize("dots", [150, 200])
def test_a_photographed_page_is_read(desk: Desk, photographs: dict[int, Path], ask: Any, dots: int) -> None:
    said = ask(*desk.options, str(photographs[dots]))
    assert "Record DEMO-0001, version 1." in said.out
    assert said.code == 12
    assert "void since" in said.err
    assert ask("--offline", str(photographs[dots])).verdict == verify._NO_RECORD


def test_pictures_that_tell_nothing_say_so(desk: Desk, foreign: Sealed, ask: Any, tmp_path: Path) -> None:
    blank, broken, two = (tmp_path / name for name in ("blank.png", "broken.png", "two.png"))
    Image.new("L", (300, 300), 255).save(blank)
    broken.write_bytes(blank.read_bytes()[:40])
    _side_by_side(desk, foreign, two)
    said = ask(str(blank), str(broken), str(two))
    assert said.code == 12
    for why in ("no code of a sealed page is seen", "cannot be opened", "several pages with different codes"):
        assert why in said.err


def _side_by_side(desk: Desk, foreign: Sealed, path: Path) -> None:
    from segno import make_qr

    sheet = Image.new("L", (900, 450), 255)
    for place, text in enumerate((desk.code("current"), foreign.code)):
        drawn = path.with_suffix(f".{place}.png")
        make_qr(text).save(str(drawn), scale=8, border=4)
        with Image.open(drawn) as code:
            sheet.paste(code.convert("L"), (place * 450, 0))
    sheet.save(path)


def test_what_cannot_be_looked_at_is_said_in_words(desk: Desk, ask: Any, tmp_path: Path) -> None:
    text = tmp_path / "a.txt"
    text.write_text("a paper", encoding="utf-8")
    assert ask().code == 2
    assert ask(str(tmp_path / "not there.pdf")).code == 2
    assert ask("--certificate", str(tmp_path / "not there.pem"), desk.file("current")).code == 2
    assert ask("--certificate", str(text), desk.file("current")).code == 11
    assert ask("--record", str(tmp_path / "no record"), desk.file("current")).code == 11
    said = ask(str(text))
    assert (said.code, "this is not a PDF" in said.err) == (12, True)
    assert "Traceback" not in said.err
