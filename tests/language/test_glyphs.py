"""Letters a font cannot draw are found before paper is (OpenType: glyph 0 is .notdef, the empty box)."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest
import uharfbuzz
from fontTools.ttLib import TTFont

from consent.errors import MachineError
from consent.language import (
    font_for,
    fonts_for,
    languages,
    load_catalogue,
    script_of,
    uncovered,
    uncovered_by_all,
)
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


def test_a_face_of_one_weight_serves_every_weight_and_names_its_own_package(monkeypatch, tmp_path):
    assert font_for("Orya", "Bold") == font_for("Orya")
    font_for.cache_clear()
    monkeypatch.setitem(room._ELSEWHERE, "Lohit Odia", (tmp_path / "none.ttf", "fonts-lohit-orya"))
    monkeypatch.setenv("PATH", "/nonexistent")
    with pytest.raises(MachineError, match="apt-get install fonts-lohit-orya"):
        font_for("Orya")
    font_for.cache_clear()


@cache
def face(font_path):
    """The font, and the class of each of its glyphs by name (OpenType 1.9, GDEF: class 3 is a mark)."""
    font = uharfbuzz.Font(uharfbuzz.Face(uharfbuzz.Blob.from_file_path(str(font_path))))
    return font, TTFont(font_path)["GDEF"].table.GlyphClassDef.classDefs


def stray_signs(text, font_path):
    """Signs without a width of their own that are not set on a letter and lie beyond it, over the next one."""
    font, classes = face(font_path)
    buffer = uharfbuzz.Buffer()
    buffer.add_str(text)
    buffer.guess_segment_properties()
    uharfbuzz.shape(font, buffer)
    found = []
    for info, place in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
        box = font.get_glyph_extents(info.codepoint)
        is_mark = classes.get(font.glyph_to_string(info.codepoint)) == 3
        if is_mark and not (place.x_advance or place.x_offset or place.y_offset) and box.width and box.x_bearing >= 0:
            found.append(font.glyph_to_string(info.codepoint))
    return found


@pytest.mark.parametrize("weight", ["Regular", "Bold"])
@pytest.mark.parametrize("tag", languages())
def test_no_sign_stands_over_the_next_letter(tag, weight):
    words = {
        word
        for message in load_catalogue(tag).messages.values()
        for form in message.forms
        for word in re.findall(r"[^\s{}*A-Za-z0-9]+", form)
    }
    assert {word for word in words if stray_signs(word, fonts_for(tag, weight)[0])} == set()


def test_a_font_whose_signs_stray_is_found_out():
    # The polite imperative of Odia in the face that is not used for it.
    noto = room._FOLDER / "NotoSansOriya-Regular.ttf"
    assert stray_signs("ଆସନ୍ତୁ", noto) == ["uni0B41"]
    assert stray_signs("ଆସନ୍ତୁ", font_for("Orya")) == []
