"""The review ladder: only words a bilingual clinician has checked, and that have not changed since, may be signed.

The ladder follows ISPOR's steps (Wild 2005, 10.1111/j.1524-4733.2005.04054.x) and ISO 17100's second person.
"""

from __future__ import annotations

import hashlib
import tomllib
from datetime import date

import pytest

from consent.errors import LanguageError
from consent.language import Rung, counts, refresh_status, release_of
from consent.language.ladder import read_ladder
from consent.language.refresh import main
from consent.language.status import reviewed_path

WHY = "The lens of your eye has become **cloudy**."
DAYS = "{count} day\n{count} days"


def fingerprint(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:12]


@pytest.fixture
def folder(tmp_path, write_catalogue, bodies):
    write_catalogue(tmp_path, "en", bodies["en"])
    write_catalogue(tmp_path, "bn", bodies["bn"])
    for tag in ("en", "bn"):
        refresh_status(tag, tmp_path, drafted_by="an engine", on=date(2026, 2, 9))
    return tmp_path


def entries(folder, tag="bn"):
    return tomllib.loads((folder / tag / "status.toml").read_text(encoding="utf-8"))["messages"]


def raise_to(folder, rung, *, path=None, ids=None, **changes):
    """Writes a status file with every message (or ``ids``) on a rung."""
    lines = ["[ladder]", 'drafted_by = "an engine"', "date = 2026-02-09", "", "[messages]"]
    for name, entry in entries(folder).items():
        if ids is None or name in ids:
            told = {"source": entry["source"], "text": entry["text"], "by": "Dr B", **changes}
            keys = "".join(f', {key} = "{value}"' for key, value in told.items() if value)
            lines.append(f'"{name}" = {{ rung = {rung}, on = 2026-02-10{keys} }}')
    path = path or folder / "bn" / "status.toml"
    path.parent.mkdir(exist_ok=True)
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def test_a_new_file_has_every_message_on_the_first_rung(folder):
    found = entries(folder)
    assert found.keys() == entries(folder, "en").keys()
    assert {entry["rung"] for entry in found.values()} == {1}
    # The fingerprint: first 12 hexadecimal digits of SHA-256 of the English, plural forms joined by line feeds.
    assert found["form.why"]["source"] == fingerprint(WHY)
    assert found["x.days"]["source"] == fingerprint(DAYS)
    assert entries(folder, "en")["x.days"] == {"source": fingerprint(DAYS), "rung": 1, "text": fingerprint(DAYS)}


def test_a_new_file_says_who_drafted(tmp_path, write_catalogue, bodies):
    write_catalogue(tmp_path, "en", bodies["en"])
    with pytest.raises(LanguageError, match="who drafted"):
        refresh_status("en", tmp_path)


@pytest.mark.parametrize(("rung", "signed"), [(1, False), (3, False), (4, False), (5, True), (6, True), (7, True)])
def test_signing_needs_the_clinicians_rung(rung, signed, folder):
    raise_to(folder, rung)
    state = release_of(["form.why", "x.days"], "bn", folder)
    assert (state.lowest, state.may_be_signed, state.missing, state.stale) == (rung, signed, (), ())


def test_a_sheet_is_as_good_as_its_least_message(folder):
    raise_to(folder, 7)
    text = (folder / "bn" / "status.toml").read_text(encoding="utf-8")
    lower = text.replace('"x.days" = { rung = 7', '"x.days" = { rung = 2')
    (folder / "bn" / "status.toml").write_text(lower, encoding="utf-8")
    assert release_of(["form.why"], "bn", folder).may_be_signed
    assert release_of(["form.why", "x.days"], "bn", folder).lowest is Rung.HUMAN_DRAFT


def test_changed_english_makes_it_stale(folder, write_catalogue, bodies):
    raise_to(folder, 7)
    write_catalogue(folder, "en", bodies["en"].replace("has become", "is now"))
    state = release_of(["form.why", "x.days"], "bn", folder)
    assert (state.lowest, state.stale, state.may_be_signed) == (Rung.REVISED, ("form.why",), False)


def test_changed_words_are_a_draft_again(folder, write_catalogue, bodies):
    # What the clinician checked is no longer what would be printed.
    raise_to(folder, 7)
    write_catalogue(folder, "bn", bodies["bn"].replace("ঘোলা", "সাদা"))
    assert release_of(["form.why"], "bn", folder).lowest is Rung.MACHINE_DRAFT
    assert release_of(["x.days"], "bn", folder).may_be_signed


def test_missing_words(folder, write_catalogue, bodies):
    raise_to(folder, 7)
    write_catalogue(folder, "bn", bodies["bn"].replace('msgstr "**ডান** চোখ"', 'msgstr ""'))
    state = release_of(["eye.right", "form.why", "form.nothing"], "bn", folder)
    assert (state.lowest, state.missing, state.may_be_signed) == (0, ("eye.right", "form.nothing"), False)


def test_words_without_a_record_are_not_released(folder):
    raise_to(folder, 7, ids={"x.days"})
    assert release_of(["form.why"], "bn", folder).missing == ("form.why",)


def test_a_sheet_of_no_words_is_not_released(folder):
    assert not release_of([], "bn", folder).may_be_signed


def test_the_clinic_may_raise_but_not_lower(folder, tmp_path):
    own = tmp_path / "own"
    raise_to(folder, 5, path=reviewed_path("bn", own), ids={"form.why"})
    assert release_of(["form.why"], "bn", folder, own).may_be_signed
    assert not release_of(["form.why"], "bn", folder).may_be_signed
    assert release_of(["x.days"], "bn", folder, own).lowest is Rung.MACHINE_DRAFT
    low = tmp_path / "low"
    raise_to(folder, 1, path=reviewed_path("bn", low))
    raise_to(folder, 6)
    assert release_of(["form.why"], "bn", folder, low).lowest is Rung.LAY_TESTED


def test_the_clinics_review_is_of_these_words(folder, tmp_path, write_catalogue, bodies):
    own = tmp_path / "own"
    raise_to(folder, 5, path=reviewed_path("bn", own))
    write_catalogue(folder, "bn", bodies["bn"].replace("ঘোলা", "সাদা"))
    assert not release_of(["form.why"], "bn", folder, own).may_be_signed


@pytest.mark.parametrize("left_out", ["text", "by"])
def test_a_high_rung_needs_name_and_words(left_out, folder):
    # Rung 5 is "bilingual clinician, name, date".
    raise_to(folder, 5, **{left_out: None})
    with pytest.raises(LanguageError, match="a name and a date"):
        release_of(["form.why"], "bn", folder)


def test_counts(folder, write_catalogue, bodies):
    raise_to(folder, 6)
    write_catalogue(folder, "en", bodies["en"].replace("has become", "is now"))
    state = counts("bn", folder)
    assert (state.total, state.by_rung[Rung.LAY_TESTED], state.by_rung[Rung.REVISED], state.stale) == (6, 5, 1, 1)


def test_refreshing_keeps_what_was_reviewed(folder, write_catalogue, bodies):
    raise_to(folder, 6)
    write_catalogue(folder, "en", bodies["en"].replace("has become", "is now"))
    write_catalogue(folder, "bn", bodies["bn"].replace("**ডান** চোখ", "**ডান** চক্ষু"))
    refresh_status("bn", folder)
    found = entries(folder)
    assert found["x.days"] == {**found["x.days"], "rung": 6, "by": "Dr B", "on": date(2026, 2, 10)}
    assert found["eye.right"] == {
        "source": fingerprint("**right** eye"),
        "rung": 1,
        "text": fingerprint("**ডান** চক্ষু"),
    }
    # A refresh must not hide that the English moved on: still the old fingerprint, still stale.
    assert found["form.why"]["source"] == fingerprint(WHY)
    assert release_of(["form.why"], "bn", folder).stale == ("form.why",)


def test_refreshing_changed_english(folder, write_catalogue, bodies):
    status = folder / "en" / "status.toml"
    status.write_text(status.read_text().replace("rung = 1", "rung = 3").replace(f', text = "{fingerprint(WHY)}"', ""))
    new = WHY.replace("has become", "is now")
    write_catalogue(folder, "en", bodies["en"].replace(WHY, new))
    refresh_status("en", folder)
    assert entries(folder, "en")["form.why"] == {"source": fingerprint(new), "rung": 1, "text": fingerprint(new)}
    assert entries(folder, "en")["x.days"]["rung"] == 3


def test_refreshing_drops_what_is_gone(folder, write_catalogue, bodies):
    body = bodies["en"].replace('msgid "eye.right"\nmsgstr "**right** eye"\n', "")
    write_catalogue(folder, "en", body)
    refresh_status("bn", folder)
    assert "eye.right" not in entries(folder)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("rung = 1", "rung = 8", "8"),
        ("rung = 1", "rung = true", "True"),
        ("rung = 1", "rung = 1, who = 2", "who"),
        ("rung = 1", "level = 1", "rung is missing"),
        ('source = "', 'source = "x', "fingerprint"),
        ("[ladder]", "[lader]", "ladder is missing"),
        ("drafted_by", "drafter", "drafted_by is missing"),
        ("date = 2026-02-09", 'date = "soon"', "date"),
        ("[messages]", "[messages", "TOML"),
    ],
)
def test_a_wrong_status_file_is_refused_by_key(old, new, told, folder):
    path = folder / "bn" / "status.toml"
    path.write_text(path.read_text(encoding="utf-8").replace(old, new, 1), encoding="utf-8")
    with pytest.raises(LanguageError, match=told) as caught:
        read_ladder(path)
    assert str(path) in str(caught.value)


def test_no_status_file(folder):
    (folder / "bn" / "status.toml").unlink()
    with pytest.raises(LanguageError, match=r"status\.toml"):
        release_of(["form.why"], "bn", folder)


def test_command_for_contributors(folder, monkeypatch, capsys):
    monkeypatch.setattr("consent.language.catalogue.locales", lambda: folder)
    assert main(["bn"]) == 0
    assert "6 messages (rung 1: 6; stale: 0)" in capsys.readouterr().out
    assert main(["hi"]) == 7
    assert "hi" in capsys.readouterr().err
