"""How far the words of the sheets were checked, as the surgeon's review tells it."""

from __future__ import annotations

from dataclasses import dataclass

from consent.compose.document import Facts, Line, Section
from consent.compose.voice import Listed, Voice, joined
from consent.language import Rung, Tongue
from consent.wording import remark


@dataclass(frozen=True)
class SheetWords:
    """How far the words of one composed sheet were checked, in one language."""

    sheet: str
    language: str
    lowest: Rung
    stale: int
    missing: int
    may_be_signed: bool
    by: tuple[str, ...] = ()
    """Who vouched for them, with qualification."""


def words_section(voice: Voice, words: tuple[SheetWords, ...]) -> Section:
    """How far the words were checked: sheets and languages that stand alike are named together."""
    standing: dict[tuple[Rung, tuple[str, ...]], list[SheetWords]] = {}
    for entry in words:
        standing.setdefault((entry.lowest, entry.by), []).append(entry)
    lines = [_standing(voice, rung, by, alike) for (rung, by), alike in standing.items()]
    text = joined(lines) if lines else voice.line("review.none")
    return Section("words", None, (Facts(((voice.line("review.words.heading"), text),)),))


def _standing(voice: Voice, rung: Rung, by: tuple[str, ...], alike: list[SheetWords]) -> Line:
    """Sheets in the same languages are named together."""
    spoken: dict[str, list[str]] = {}
    for entry in alike:
        spoken.setdefault(entry.sheet, []).append(entry.language)
    together: dict[tuple[str, ...], list[str]] = {}
    for sheet, tags in spoken.items():
        together.setdefault(tuple(tags), []).append(sheet)
    named = [
        voice.line(
            "review.sheet-in",
            sheet=Listed(tuple(remark(f"sheet.{sheet}") for sheet in sheets)),
            language=Listed(tuple(Tongue(tag) for tag in tags)),
        )
        for tags, sheets in together.items()
    ]
    use = voice.line("review.signable" if alike[0].may_be_signed else "review.practice")
    return voice.each(
        "review.sheet-words",
        sheets=joined(named, ", "),
        rung=voice.line(f"rung.{int(rung)}"),
        use=joined((use, voice.quoted("; ".join(by))), ", ") if by else use,
    )
