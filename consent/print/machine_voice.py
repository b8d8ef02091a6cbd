"""Reads a text aloud into a file with eSpeak NG, a machine voice that needs no network. It sounds like a machine."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from functools import cache
from pathlib import Path

from consent.errors import MachineError, Problem

_VOICE, _PACKER = "espeak-ng", "lame"
_WORDS_A_MINUTE = 120
"""Slow speech for elderly listeners: common practice, no source. eSpeak NG's own is 175."""
_LONGEST_SECONDS = 120


@cache
def has_voice(tag: str) -> bool:
    """Whether this machine can read the language ``tag`` aloud."""
    if shutil.which(_VOICE) is None:
        return False
    told = subprocess.run([_VOICE, f"--voices={tag}"], capture_output=True, text=True, check=True, timeout=30).stdout
    return len(told.splitlines()) > 1


def need_voice(tag: str) -> None:
    """Raises ``MachineError`` where this machine cannot read the language ``tag`` aloud."""
    if not has_voice(tag):
        raise MachineError(
            Problem(
                f"there is no machine voice for {tag!r}",
                _VOICE,
                remedy="sudo apt-get install espeak-ng lame; or leave out --audio",
            )
        )


def read_aloud(text: str, tag: str) -> tuple[bytes, str]:
    """``text`` spoken in the language ``tag``, and the suffix of the file it belongs in: .mp3, or .wav without lame.

    Raises ``MachineError`` where there is no such voice, or it fails.
    """
    need_voice(tag)
    with tempfile.TemporaryDirectory() as folder:
        wave = Path(folder) / "spoken.wav"
        _run([_VOICE, "-v", tag, "-s", str(_WORDS_A_MINUTE), "--stdin", "-w", str(wave)], text)
        if shutil.which(_PACKER) is None:
            return wave.read_bytes(), ".wav"
        packed = wave.with_suffix(".mp3")
        _run([_PACKER, "--quiet", "-m", "m", "-b", "32", str(wave), str(packed)])
        return packed.read_bytes(), ".mp3"


def _run(command: list[str], text: str = "") -> None:
    try:
        subprocess.run(command, input=text.encode(), capture_output=True, check=True, timeout=_LONGEST_SECONDS)
    except (OSError, subprocess.SubprocessError) as failure:
        raise MachineError(Problem(f"{command[0]} failed: {failure}", command[0])) from failure
