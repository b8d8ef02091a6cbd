"""The record from the command line: a clinic begins, a case goes through hands, everything is shown and checked."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest

from consent.commands.main import main
from consent.commands.settings import find_record
from tests.record.acts import without_printing
from tests.record.story import PASSWORDS
from tests.record.test_migrations import back_in_0001

Run = Callable[..., tuple[int, str, str]]
FIRST = "words the lead has chosen"


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Iterator[Run]:
    """Runs a command on a record of its own, with lines for the passwords it asks for."""
    monkeypatch.setenv("CONSENT_RECORD", str(tmp_path / "record"))

    def told(*arguments: str, lines: tuple[str, ...] = ()) -> tuple[int, str, str]:
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
        code = main(arguments)
        out, err = capsys.readouterr()
        return code, out, err

    with without_printing():
        yield told


@pytest.fixture
def clinic(run: Run) -> Run:
    """A record with a lead, a surgeon and a counsellor."""
    assert run("record", "init")[0] == 0
    added = run("account", "add", "lila", "--name", "Lila Invented", "--role", "lead", lines=(PASSWORDS["lila"],))
    assert added[0] == 0
    _add(run, "asha", "Dr Asha Invented", "surgeon", "--registration", "INVENTED-0002")
    _add(run, "meera", "M. Example", "counsellor")
    return run


def _add(run: Run, login: str, name: str, role: str, *more: str) -> None:
    words = (PASSWORDS["lila"], FIRST)
    assert run("account", "add", login, "--name", name, "--role", role, *more, "--as", "lila", lines=words)[0] == 0
    assert run("account", "password", login, lines=(FIRST, PASSWORDS[login]))[0] == 0


@pytest.fixture
def case_file(tmp_path: Path) -> Path:
    """The shipped ordinary case without what the surgeon enters himself, its talk held before any clock of today."""
    from consent.resources import package_data

    text = package_data("case", "examples", "ordinary.toml").read_text(encoding="utf-8")
    path = tmp_path / "case.toml"
    told = text.replace("at = 2027-02-22T10:15:00+05:30", "at = 2026-01-05T10:15:00+05:30")
    path.write_text(re.sub(r"\[figures_accepted\]\n(?:.+\n)+", "", told), encoding="utf-8")
    return path


def _open(run: Run, case_file: Path) -> str:
    code, out, _ = run("record", "open", str(case_file), "--as", "meera", lines=(PASSWORDS["meera"],))
    assert code == 0
    return out.strip()


def _enter(run: Run, subject: str, kind: str, login: str, *more: str) -> tuple[int, str, str]:
    return run("record", "enter", subject, kind, "--as", login, *more, lines=(PASSWORDS[login],))


def _last(run: Run) -> str:
    """The last entry of the only case."""
    (row,) = json.loads(run("record", "list", "--json")[1])
    return str(row["last_entry"])


def _enter_file(run: Run, subject: str, kind: str, login: str, file: Path) -> tuple[int, str, str]:
    """A step with the case in ``file``, which was written just now."""
    return _enter(run, subject, kind, login, "--case", str(file), "--seen", _last(run))


def test_a_case_goes_through_hands(clinic: Run, case_file: Path) -> None:
    subject = _open(clinic, case_file)
    assert re.fullmatch(r"case-[0-9a-f]{16}", subject)
    assert ": explained" in _enter_file(clinic, subject, "explained", "meera", case_file)[1]
    assert ": signed off" in _enter(clinic, subject, "signed-off", "asha")[1]
    code = json.loads(clinic("record", "show", subject, "--json")[1])["papers"][0]["code"]
    details = ("by=Shanti Example", "how=thumb impression", "witness=W. Neighbour", f"code={code}")
    given = [part for detail in details for part in ("--detail", detail)]
    assert ": consented" in _enter(clinic, subject, "consented", "meera", *given)[1]
    changed = case_file.read_text(encoding="utf-8").replace("power_d = 21.5", "power_d = 22.0", 1)
    case_file.write_text(changed, encoding="utf-8")
    status, out, err = _enter_file(clinic, subject, "changed", "meera", case_file)
    assert (status, ": draft" in out) == (0, True), err
    assert "are void: consent-form would say something else" in err
    listed = json.loads(clinic("record", "list", "--json")[1])
    assert [(row["state"], row["version"], row["eye"]) for row in listed] == [("draft", 2, "left")]
    shown = clinic("record", "show", subject, "--at", str(listed[0]["last_entry"] - 1))[1]
    assert "version 1" in shown.splitlines()[0] or "consented" in shown.splitlines()[0]


def test_everything_is_checked(clinic: Run, case_file: Path) -> None:
    _open(clinic, case_file)
    code, out, _ = clinic("record", "check", "--json")
    assert code == 0
    found = json.loads(out)
    assert (found["cases"], found["problems"]) == (1, [])
    assert len(found["last"]["hash"]) == 64


def test_an_older_copy_is_given_away_by_what_was_noted(clinic: Run, case_file: Path, tmp_path: Path) -> None:
    """A whole folder put back as it was holds together by itself; only a note kept elsewhere tells."""
    import shutil

    folder = tmp_path / "record"
    shutil.copytree(folder, tmp_path / "older")
    _open(clinic, case_file)
    noted = clinic("record", "check")[1].splitlines()[-1].removeprefix("last entry ")
    assert clinic("record", "check", "--noted", noted)[0] == 0
    shutil.rmtree(folder)
    shutil.copytree(tmp_path / "older", folder)
    assert clinic("record", "check")[0] == 0
    code, _, err = clinic("record", "check", "--noted", noted)
    assert (code, "is not there" in err) == (11, True), err
    for no_entry in (
        "five",
        f"5:{'g' * 64}",
        f"{'9' * 25}:{'0' * 64}",
        f"{'9' * 5000}:{'0' * 64}",
        f"\u0669:{'0' * 64}",
    ):
        code, _, err = clinic("record", "check", "--noted", no_entry)
        assert (code, "is not the number and the digest of an entry" in err) == (2, True), err


@pytest.mark.parametrize(
    ("kind", "login", "code", "said"),
    [
        ("signed-off", "meera", 13, "may not do this as counsellor"),
        ("consented", "meera", 14, 'the case is "draft"'),
        ("nonsense", "meera", 14, "choose from: opened, changed"),
    ],
)
def test_refusals_say_why_and_how_to_go_on(
    clinic: Run, case_file: Path, kind: str, login: str, code: int, said: str
) -> None:
    subject = _open(clinic, case_file)
    found, _, err = _enter(clinic, subject, kind, login)
    assert (found, said in err) == (code, True), err


def test_a_name_typed_for_a_case_goes_nowhere(clinic: Run, tmp_path: Path) -> None:
    """A refusal is kept in the clear: the counsellor who tries to sign off "Rahima Bibi" would write her name there."""
    for words in (("enter", "Rahima Bibi", "signed-off"), ("papers", "Rahima Bibi", "--to", "x", "--reason", "x")):
        code, _, err = clinic("record", *words, "--as", "meera", lines=(PASSWORDS["meera"],))
        assert (code, "consent record list names every case" in err) == (2, True), err
    kept = b"".join(path.read_bytes() for path in (tmp_path / "record").glob("record.sqlite3*"))
    assert kept and b"Rahima" not in kept


def test_a_wrong_password_is_refused(clinic: Run, case_file: Path) -> None:
    code, _, err = clinic("record", "open", str(case_file), "--as", "meera", lines=("not her words at all",))
    assert (code, "do not belong together" in err) == (13, True)


def test_what_was_entered_on_an_older_state_is_not_lost(clinic: Run, case_file: Path) -> None:
    """The second is told what the first changed; both are kept, or the clash is named."""
    subject = _open(clinic, case_file)
    seen = str(json.loads(clinic("record", "list", "--json")[1])[0]["last_entry"])
    text = case_file.read_text(encoding="utf-8")
    one, other = case_file.with_name("one.toml"), case_file.with_name("other.toml")
    one.write_text(text.replace('guttata = "no"', 'guttata = "yes"'), encoding="utf-8")
    other.write_text(text.replace("axial_length_mm = 23.2", "axial_length_mm = 23.6"), encoding="utf-8")
    assert one.read_text(encoding="utf-8") != text
    assert _enter(clinic, subject, "changed", "meera", "--case", str(one), "--seen", seen)[0] == 0
    code, _, err = _enter(clinic, subject, "changed", "asha", "--case", str(other), "--seen", seen)
    assert (code, "M. Example recorded changed: eye.guttata" in err) == (0, True), err
    one.write_text(text.replace('guttata = "no"', 'guttata = "unknown"'), encoding="utf-8")
    code, _, err = _enter(clinic, subject, "changed", "asha", "--case", str(one), "--seen", seen)
    assert (code, "you both changed eye.guttata" in err) == (15, True), err
    now = json.loads(clinic("record", "show", subject, "--json")[1])["data"]["eye"]
    assert (now["guttata"], now["axial_length_mm"]) == ("yes", 23.6)


def test_an_old_file_takes_nothing_back(clinic: Run, case_file: Path) -> None:
    """The counsellor's file is of before the lead entered an allergy. Without the entry it was written after, nobody
    could tell the two apart, so it is refused before a password is asked for; with it, both are kept."""
    subject = _open(clinic, case_file)
    seen = _last(clinic)
    text = case_file.read_text(encoding="utf-8")
    one, other = case_file.with_name("one.toml"), case_file.with_name("other.toml")
    one.write_text(text.replace('guttata = "no"', 'guttata = "yes"'), encoding="utf-8")
    other.write_text(text.replace("axial_length_mm = 23.2", "axial_length_mm = 23.6"), encoding="utf-8")
    assert _enter_file(clinic, subject, "changed", "asha", one)[0] == 0
    last = _last(clinic)
    code, _, err = clinic("record", "enter", subject, "changed", "--case", str(other), "--as", "meera")
    assert (code, "--seen: the case is given without" in err) == (2, True), err
    assert _last(clinic) == last
    code, _, err = _enter(clinic, subject, "changed", "meera", "--case", str(other), "--seen", seen)
    assert (code, "Your file does not hold it" in err) == (0, True), err
    eye = json.loads(clinic("record", "show", subject, "--json")[1])["data"]["eye"]
    assert (eye["guttata"], eye["axial_length_mm"]) == ("yes", 23.6)


@pytest.mark.parametrize("name", ["ordinary", "hard", "second-eye"])
def test_a_shipped_example_opens_as_it_is(clinic: Run, name: str) -> None:
    """What the surgeon accepted in a file is no acceptance in the record, and it is said that it was left out."""
    from consent.resources import package_data

    path = package_data("case", "examples", f"{name}.toml")
    code, out, err = clinic("record", "open", str(path), "--as", "meera", lines=(PASSWORDS["meera"],))
    assert code == 0 and "Left out: figures_accepted" in err, err
    data = json.loads(clinic("record", "show", out.strip(), "--json")[1])["data"]
    assert "figures_accepted" not in data


def test_the_last_entry_is_printed_wherever_a_case_is(clinic: Run, case_file: Path) -> None:
    """So that whoever writes a file knows what to give with ``--seen``."""
    code, out, err = clinic("record", "open", str(case_file), "--as", "meera", lines=(PASSWORDS["meera"],))
    subject, last = out.strip(), _last(clinic)
    assert code == 0 and f"--seen {last}." in err
    assert f"last entry {last}" in clinic("record", "show", subject)[1].splitlines()[0]
    assert json.loads(clinic("record", "show", subject, "--json")[1])["last_entry"] == int(last)
    assert f"entry {last} " in clinic("record", "list")[1]
    out = _enter(clinic, subject, "noted", "meera", "--reason", "She rang.")[1]
    assert out.startswith(f"entry {_last(clinic)}: ")


def test_a_file_changes_only_what_its_entry_is_for(clinic: Run, case_file: Path) -> None:
    """The counsellor's file knows nothing of what the surgeon accepted since; it does not take it away."""
    subject = _open(clinic, case_file)
    accepted = case_file.with_name("accepted.toml")
    accepts = ('by = "Dr Asha Invented"', 'registration = "INVENTED-0002"', "at = 2027-02-22T12:00:00+05:30")
    words = "\n".join(("[figures_accepted]", *accepts, "", ""))
    text = case_file.read_text(encoding="utf-8")
    accepted.write_text(text.replace("[[visits]]", words + "[[visits]]", 1), encoding="utf-8")
    assert _enter_file(clinic, subject, "figures-accepted", "asha", accepted)[0] == 0
    case_file.write_text(text.replace('guttata = "no"', 'guttata = "yes"'), encoding="utf-8")
    assert _enter_file(clinic, subject, "changed", "meera", case_file)[0] == 0
    data = json.loads(clinic("record", "show", subject, "--json")[1])["data"]
    assert (data["eye"]["guttata"], data["figures_accepted"]["by"]) == ("yes", "Dr Asha Invented")


def test_a_record_of_the_version_before_is_carried_over(clinic: Run, case_file: Path, tmp_path: Path) -> None:
    _open(clinic, case_file)
    with closing(find_record(str(tmp_path / "record"), None)) as record:
        back_in_0001(record)
    code, _, err = clinic("record", "list")
    assert (code, "consent record upgrade" in err) == (11, True), err
    assert clinic("record", "upgrade")[0] == 0
    assert clinic("record", "check")[0] == 0
    _open(clinic, case_file)


def test_there_is_no_record_yet(run: Run) -> None:
    code, _, err = run("record", "list")
    assert (code, "consent record init" in err) == (11, True)


def test_accounts_are_listed(clinic: Run) -> None:
    found = json.loads(clinic("account", "list", "--json")[1])
    assert [(one["login"], one["roles"], one["own_password"]) for one in found] == [
        ("asha", ["surgeon"], True),
        ("lila", ["lead"], True),
        ("meera", ["counsellor"], True),
    ]


def test_the_last_surgeon_stays(clinic: Run) -> None:
    code, _, err = clinic("account", "close", "asha", "--as", "lila", lines=(PASSWORDS["lila"],))
    assert (code, "last account of a surgeon" in err) == (13, True)


def test_a_role_nobody_knows(clinic: Run) -> None:
    code, _, err = clinic("account", "change", "meera", "--role", "boss", "--as", "lila", lines=(PASSWORDS["lila"],))
    assert (code, "choose from: counsellor, surgeon" in err) == (2, True)
