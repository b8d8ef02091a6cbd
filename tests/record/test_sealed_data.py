"""What the code is the digest of: everything one signed version says, in the one form RFC 8785 gives it."""

from __future__ import annotations

import hashlib
import json
import math
import struct
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import rfc8785

from consent.case import Case
from consent.clinic import Clinic, read_clinic
from consent.pack import assessment_data, compose_pack
from consent.record.canonical import canonical, digest
from consent.record.sealed_data import sealed_data
from consent.resources import locales, package_data
from tests.conftest import shipped_case
from tests.record.sealing import AT, LEDGER, SALT, SIGNED_OFF, Sealed


def _data(sealed: Sealed) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(sealed.data.content)
    return found


def test_the_example_of_the_rfc() -> None:
    """RFC 8785, section 3.2.2 (input and output of serialization) and 3.2.4 (the same in UTF-8, byte for byte)."""
    given = r"""{
      "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
      "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
      "literals": [null, true, false]
    }"""
    wanted = bytes.fromhex(
        "7b226c69746572616c73223a5b6e756c6c2c747275652c66616c73655d2c226e"
        "756d62657273223a5b3333333333333333332e333333333333332c31652b3330"
        "2c342e352c302e3030322c31652d32375d2c22737472696e67223a22e282ac24"
        "5c75303030665c6e4127425c225c5c5c5c5c222f227d"
    )
    assert canonical(json.loads(given)) == wanted


def test_keys_are_sorted_by_utf_16() -> None:
    """RFC 8785, section 3.2.3: the eight keys of its example, in the order it prints."""
    given = {
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\U0001f600": "Emoji: Grinning Face",
        "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis",
    }
    values = [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]
    assert list(json.loads(canonical(given)).values()) == values


# RFC 8785, appendix B: IEEE 754 doubles and how they are written.
NUMBERS = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}


@pytest.mark.parametrize(("double", "written"), NUMBERS.items())
def test_numbers_of_the_rfc(double: str, written: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(double))
    assert canonical(number) == written.encode()


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 2**53, {"a": [math.nan]}])
def test_what_it_cannot_hold_is_refused(value: object) -> None:
    """RFC 8785, section 3.2.2.3: NaN and Infinity are no JSON. The library refuses whole numbers a double loses."""
    with pytest.raises(ValueError, match=r"."):
        canonical(value)


def test_data_are_canonical_and_the_digest_is_theirs(sealed: Sealed) -> None:
    assert rfc8785.dumps(_data(sealed)) == sealed.data.content
    assert sealed.data.digest == hashlib.sha256(sealed.data.content).hexdigest() == digest(sealed.data.content)


def test_they_hold_who_what_which_version_and_when(sealed: Sealed) -> None:
    data, case = _data(sealed), sealed.pack.assessment.case
    assert (data["record_number"], data["eye"], data["version"]) == ("DEMO-0001", case.eye.side.value, 1)
    assert (data["salt"], data["ledger"]) == (SALT, LEDGER)
    assert data["assessment"]["final"] is True
    assert data["assessment"]["signed_off"] == {
        "by": "Dr Asha Invented",
        "registration": "INVENTED-0002",
        "at": AT.isoformat(),
    }


def test_case_and_settings_come_back_as_they_were(sealed: Sealed) -> None:
    data = _data(sealed)
    assert Case.model_validate_json(json.dumps(data["case"])) == sealed.pack.assessment.case
    settings = package_data("clinic", "demo.toml")
    assert Clinic.model_validate_json(json.dumps(data["clinic"])).beside(settings) == sealed.clinic


def test_where_the_clinic_keeps_its_files_is_not_told(sealed: Sealed, tmp_path: Path) -> None:
    """Paths of a machine are nobody's business who holds a paper, and would make one clinic's papers differ."""
    (tmp_path / "reviewed").mkdir()
    settings = tmp_path / "clinic.toml"
    text = package_data("clinic", "demo.toml").read_text(encoding="utf-8")
    settings.write_text(f'reviewed_words = "reviewed"\n{text}', encoding="utf-8")
    clinic = read_clinic(settings)
    assert clinic.words_folder == tmp_path / "reviewed"
    pack = replace(sealed.pack, assessment=replace(sealed.pack.assessment, clinic=clinic))
    content = sealed_data(pack, SALT, LEDGER).content.decode()
    assert json.loads(content)["clinic"]["reviewed_words"] == "reviewed"
    for folder in (tmp_path, package_data(), Path.cwd(), Path.home()):
        assert str(folder.resolve()) not in content


def test_every_figure_behind_an_estimate_is_there_with_its_source(sealed: Sealed) -> None:
    data = _data(sealed)
    named = {source["figure"] for risk in data["assessment"]["risks"] for source in risk["sources"]}
    held = {f"{one['series']}/{one['figure']}": one for one in data["evidence"]}
    assert held.keys() == named
    assert len(held) == len(data["evidence"]) > 10
    for one in held.values():
        assert one["citation"]
        assert one["verified"] in {"full-text table", "abstract", "quoted", "memory"}
        assert one["read_in"] or one["verified"] != "quoted"
    assert sum("value" in one for one in held.values()) > len(held) / 2


def test_words_are_named_by_the_digest_of_their_files(sealed: Sealed) -> None:
    """Reckoned by coreutils from the files themselves."""
    files = {"catalogue": locales() / "en" / "LC_MESSAGES" / "consent.po", "status": locales() / "en" / "status.toml"}
    for kind, path in files.items():
        done = subprocess.run(["sha256sum", str(path)], capture_output=True, text=True, check=True)
        assert _data(sealed)["words"]["en"][kind] == done.stdout.split()[0]


def test_words_of_every_language_on_paper_are_named(clinic: Clinic) -> None:
    pack = compose_pack(shipped_case("ordinary"), clinic, ("bn", "en"), ("separate-choices",), signed_off=SIGNED_OFF)
    assert json.loads(sealed_data(pack, SALT, LEDGER).content)["words"].keys() == {"bn", "en"}


def test_any_change_makes_another_digest(sealed: Sealed) -> None:
    """Salt, ledger, sign-off, a fact and a setting, each by itself."""
    pack, assessment = sealed.pack, sealed.pack.assessment
    other_eye = assessment.case.eye.model_copy(update={"pupil_mm": 4.9})
    other = {
        "case": replace(assessment, case=assessment.case.model_copy(update={"eye": other_eye})),
        "clinic": replace(assessment, clinic=sealed.clinic.model_copy(update={"operation_minutes": 21})),
        "by": replace(assessment, signed_off=replace(SIGNED_OFF, by="Dr Another")),
    }
    made = {name: sealed_data(replace(pack, assessment=one), SALT, LEDGER).digest for name, one in other.items()}
    made["salt"] = sealed_data(pack, "5b" * 16, LEDGER).digest
    made["ledger"] = sealed_data(pack, SALT, {**LEDGER, "sequence": 8}).digest
    assert len({*made.values(), sealed.data.digest}) == len(made) + 1


def test_a_draft_is_not_sealed(clinic: Clinic) -> None:
    draft = compose_pack(shipped_case("ordinary"), clinic, ("en",), ("separate-choices",))
    assert (assessment_data(draft)["final"], assessment_data(draft)["signed_off"]) == (False, None)
    with pytest.raises(ValueError, match="signed off"):
        sealed_data(draft, SALT, LEDGER)


def test_another_process_makes_the_same_bytes(sealed: Sealed) -> None:
    """Under another seed of the hashes of Python, so that no order of a set or a dictionary is in them."""
    code = (
        "import hashlib; from consent.clinic import read_clinic; from consent.pack import compose_pack;"
        "from consent.record.sealed_data import sealed_data; from tests.conftest import shipped_case;"
        "from tests.record.sealing import LEDGER, SALT, SHEETS, SIGNED_OFF;"
        "pack = compose_pack(shipped_case('ordinary'), read_clinic(), ('en',), SHEETS, signed_off=SIGNED_OFF);"
        "print(sealed_data(pack, SALT, LEDGER).digest)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env={"PYTHONHASHSEED": "77"}
    )
    assert done.stdout.strip() == sealed.data.digest
