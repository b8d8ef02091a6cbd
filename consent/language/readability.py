"""How hard a text is to read: published grades for English, signals and never a grade for other languages."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from math import sqrt

_SENTENCE_END = re.compile(r"(?<=[.!?।॥۔؟])[\"'”’)\]]*\s+|\n+")
_VOWELS = re.compile(r"[aeiouy]+")
_SILENT_E = re.compile(
    r"(?:[^aeiouyl]|[aeiouy]l)es?$(?<![scxzgh]es)"  # times, capsule; not glasses, table
    r"|(?:[^aeiouytdlr]|[aeiouy][lr]|ll|rr)ed$"  # dropped, covered, filled; not wanted, hundred
)
_SAID_APART = re.compile(r"(?<![ctsgx])i(?:a|ou|o)|(?<![qg])ua|iet|[aeouy]ing|[^aeiou]ier$|[rd]ea$")
_VIRAMAS = frozenset("\u094d\u09cd\u0b4d\u0bcd\u0c4d")
# Not ends of a sentence although a full stop follows.
_ABBREVIATIONS = re.compile(r"\b(Dr|Mr|Mrs|Ms|St|No(?=\.\s*\d)|e\.g|i\.e|vs|approx)\.", re.I)
# Sinha 2012 (COLING) counts words of more than two written syllables (akshara); Björnsson's LIX, letters beyond six.
_LONG_IN_SYLLABLES = 3
_LONG_IN_LETTERS = 7
_POLYSYLLABLE = 3


@dataclass(frozen=True)
class EnglishReading:
    """Counts and grades of an English text. State a grade with its formula: they differ by two or three."""

    sentences: int
    words: int
    syllables: int
    polysyllables: int
    longest_sentence: int
    flesch_kincaid_grade: float
    smog_grade: float


@dataclass(frozen=True)
class ReadingSignals:
    """What can be said of a text in a language without a validated formula."""

    sentences: int
    words: int
    mean_words_per_sentence: float
    longest_sentence: int
    long_word_share: float
    conjuncts: int


def flesch_kincaid_grade(words: int, sentences: int, syllables: int) -> float:
    """US school grade. Kincaid, Fishburne, Rogers and Chissom 1975, Naval Training Command report 8-75."""
    return 0.39 * words / sentences + 11.8 * syllables / words - 15.59


def smog_grade(polysyllables: int, sentences: int) -> float:
    """US school grade, meant for 30 sentences or more. McLaughlin 1969, Journal of Reading 12:639."""
    return 1.0430 * sqrt(polysyllables * 30 / sentences) + 3.1291


def read_english(text: str) -> EnglishReading:
    """Counts and grades of an English text; a line break ends a sentence. ValueError if there are no words."""
    lengths, words = _sentences_and_words(text)
    per_word = [syllables(word) for word in words]
    polysyllables = sum(count >= _POLYSYLLABLE for count in per_word)
    return EnglishReading(
        sentences=len(lengths),
        words=len(words),
        syllables=sum(per_word),
        polysyllables=polysyllables,
        longest_sentence=max(lengths),
        flesch_kincaid_grade=flesch_kincaid_grade(len(words), len(lengths), sum(per_word)),
        smog_grade=smog_grade(polysyllables, len(lengths)),
    )


def read_signals(text: str) -> ReadingSignals:
    """Signals of a text in any language. A long word has three or more akshara, or, where the script has none, seven or
    more letters. ValueError if there are no words."""
    lengths, words = _sentences_and_words(text)
    return ReadingSignals(
        sentences=len(lengths),
        words=len(words),
        mean_words_per_sentence=len(words) / len(lengths),
        longest_sentence=max(lengths),
        long_word_share=sum(_is_long(word) for word in words) / len(words),
        conjuncts=sum(_conjuncts(word) for word in words),
    )


def sentences_of(text: str) -> list[str]:
    """The sentences of a text in order, ended by a full stop, danda, question or exclamation mark, or a line break."""
    guarded = _ABBREVIATIONS.sub(lambda match: match.group().replace(".", "\u2024"), text)
    pieces = (piece.strip().replace("\u2024", ".") for piece in _SENTENCE_END.split(guarded))
    return [piece for piece in pieces if _words(piece)]


def running_text(texts: Iterable[str]) -> list[str]:
    """Of ``texts`` those that end as sentences do, each once: labels would make a grade look better than it is."""
    ends = tuple(".?!।۔؟")
    return [text for text in dict.fromkeys(texts) if text.rstrip().rstrip('”)’"').endswith(ends)]


def syllables(word: str) -> int:
    """Syllables of an English word by its groups of vowels: less a silent e, plus vowels said apart; at least one."""
    letters = re.sub(r"[^a-z]", "", word.lower())
    groups = len(_VOWELS.findall(letters)) - len(_SILENT_E.findall(letters)) + len(_SAID_APART.findall(letters))
    return max(groups, 1)


def _sentences_and_words(text: str) -> tuple[list[int], list[str]]:
    per_sentence = [_words(sentence) for sentence in sentences_of(text)]
    if not per_sentence:
        raise ValueError("a text without words has no readability")
    return [len(words) for words in per_sentence], [word for words in per_sentence for word in words]


def _words(text: str) -> list[str]:
    trimmed = (word.strip("*.,;:!?()[]\"'“”‘’–—-।॥۔،؛؟") for word in text.split())
    return [word for word in trimmed if any(letter.isalnum() for letter in word)]


def _is_long(word: str) -> bool:
    letters = [letter for letter in word if unicodedata.category(letter) == "Lo" and _is_indic(letter)]
    if letters:
        return len(letters) - _conjuncts(word) >= _LONG_IN_SYLLABLES
    return sum(letter.isalpha() for letter in word) >= _LONG_IN_LETTERS


def _is_indic(letter: str) -> bool:
    return "\u0900" <= letter <= "\u0dff"


def _conjuncts(word: str) -> int:
    return sum(first in _VIRAMAS and after.isalpha() for first, after in pairwise(word))
