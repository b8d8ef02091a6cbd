"""Letters a font cannot draw are found before paper is (OpenType: glyph 0 is .notdef, the empty box)."""

from __future__ import annotations

from pathlib import Path

import pytest

from consent.errors import MachineError
from consent.language import font_for, fonts_for, script_of, uncovered, uncovered_by_all
from consent.language import glyphs as room

SAMPLES = {
    # Universal Declaration of Human Rights, article 1, opening words.
    "en": "All human beings are born free and equal.",
    "bn": "সমস্ত মানুষ স্বাধীনভাবে সমান মর্যাদা এবং অধিকার নিয়ে জন্মগ্রহণ করে।",
    "hi": "सभी मनुष्यों को गौरव और अधिकारों के मामले में जन्मजात स्वतन्त्रता प्राप्त है।",
    "ur": "تمام انسان آزاد اور حقوق و عزت کے اعتبار سے برابر پیدا ہوئے ہیں۔",
    "ta": "மனிதப் பிறிவியினர் சகலரும் சுதந்திரமாகவே பிறக்கின்றனர்.",
    "te": "ప్రతిపత్తిస్వత్వముల విషయమున మానవులెల్లరును జన్మతః స్వతంత్రులును.",
    "or": "ସବୁ ମନୁଷ୍ୟ ଜନ୍ମକାଳରୁ ସ୍ୱାଧୀନ ଏବଂ ମର୍ଯ୍ୟାଦା ଓ ଅଧିକାରରେ ସମାନ।",
    "ne": "सबै व्यक्तिहरू जन्मजात स्वतन्त्र हुन्।",
}


@pytest.mark.parametrize("tag", SAMPLES)
def test_every_language_has_its_letters(tag):
    assert uncovered(SAMPLES[tag], font_for(script_of(tag))) == []
    assert uncovered_by_all(SAMPLES[tag] + " 5–10 mg (×2) “x” / LASER?", fonts_for(tag)) == []


def test_letters_of_another_script_are_named_once():
    assert uncovered("ক খ ক", font_for("Deva")) == ["ক", "খ"]
    assert uncovered("চোখ cat", font_for("Beng")) == ["c", "a", "t"]


@pytest.mark.parametrize("text", ["\u09be", "কা \u09c7", "।\u09be", "কি5\u09cd\u09be"])
def test_a_broken_cluster_is_found(text):
    # HarfBuzz and Uniscribe put U+25CC under a vowel sign that has no letter to stand on.
    assert uncovered(text, font_for("Beng"))


def test_a_dotted_circle_that_was_written_is_none():
    assert uncovered("\u25cc\u09be", font_for("Beng")) == []


def test_what_is_never_drawn_is_not_missed():
    # Unicode property Default_Ignorable_Code_Point.
    assert uncovered("\u2066ক\u2069 র\u200d্য ক্\u200cষ \u200e\u202b", font_for("Beng")) == []


def test_mixed_scripts_are_shaped_apart():
    assert uncovered_by_all("LASERকি ৫mg", fonts_for("bn")) == []


def test_fonts_in_order():
    assert [path.name for path in fonts_for("bn")] == ["NotoSansBengali-Regular.ttf", "NotoSans-Regular.ttf"]
    assert len(fonts_for("en")) == 1
    assert font_for("Beng", "Bold").name == "NotoSansBengali-Bold.ttf"


@pytest.fixture
def bare_machine(monkeypatch, tmp_path):
    monkeypatch.setattr(room, "_FOLDER", tmp_path)
    font_for.cache_clear()
    yield monkeypatch
    font_for.cache_clear()


def test_font_found_elsewhere(bare_machine):
    assert font_for("Beng").name == "NotoSansBengali-Regular.ttf"


@pytest.mark.parametrize("path", ["/nonexistent", None])
def test_missing_font_names_the_package(path, bare_machine):
    if path:
        bare_machine.setenv("PATH", path)
    else:
        bare_machine.setitem(room._FAMILIES, "Beng", "Noto Sans Nowhere")
    with pytest.raises(MachineError, match="apt-get install fonts-noto-core"):
        font_for("Beng")


def test_unknown_script_and_file():
    with pytest.raises(MachineError, match="Xxxx"):
        font_for("Xxxx")
    with pytest.raises(MachineError, match="missing"):
        uncovered("a", Path("/nonexistent.ttf"))
