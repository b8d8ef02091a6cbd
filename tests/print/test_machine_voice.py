"""The sound file plays, for about as long as its words take; durations are read with mutagen and the wave module, not
by the program that made them."""

from __future__ import annotations

import io
import shutil
import wave

import pytest
from mutagen.mp3 import MP3

from consent.errors import MachineError
from consent.language import languages, load_catalogue
from consent.print import has_voice, machine_voice, read_aloud

pytestmark = pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="espeak-ng is not on this machine")
SENTENCES = ("care.tablets", "care.nothing-else", "home.expect.grit")
"""Messages of the going-home sheet, said in each language."""
SLOWEST, FASTEST = 35, 260
"""Words a minute between which speech can be followed, with room: common practice, no source."""


def seconds_of(content: bytes, suffix: str) -> float:
    if suffix == ".mp3":
        return float(MP3(io.BytesIO(content)).info.length)
    with wave.open(io.BytesIO(content)) as sound:
        return sound.getnframes() / sound.getframerate()


def said(tag: str, times: int = 1) -> str:
    messages = load_catalogue(tag)
    return " ".join(messages.message(name).forms[0] for name in SENTENCES) * times


@pytest.mark.parametrize("tag", languages())
def test_it_plays_for_about_as_long_as_the_words_take(tag: str) -> None:
    """Tamil and Telugu have few and long words, English many and short ones."""
    text = said(tag)
    seconds = seconds_of(*read_aloud(text, tag))
    assert SLOWEST < len(text.split()) / seconds * 60 < FASTEST


def test_twice_the_words_take_twice_as_long() -> None:
    one, two = (seconds_of(*read_aloud(said("bn", times), "bn")) for times in (1, 2))
    assert 1.8 < two / one < 2.2


def test_without_a_packer_it_is_a_wave_file(monkeypatch: pytest.MonkeyPatch) -> None:
    packed = seconds_of(*read_aloud(said("en"), "en"))
    monkeypatch.setattr(machine_voice, "_PACKER", "no-such-program")
    sound, suffix = read_aloud(said("en"), "en")
    assert suffix == ".wav"
    assert abs(seconds_of(sound, suffix) - packed) < 0.3


def test_every_language_of_the_program_has_a_voice() -> None:
    assert [tag for tag in languages() if not has_voice(tag)] == []


def test_a_language_without_a_voice_is_refused_by_name() -> None:
    with pytest.raises(MachineError, match="no machine voice for 'brx'"):
        read_aloud("x", "brx")
