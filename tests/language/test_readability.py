"""Grades for English by the published formulas; signals for the rest."""

from __future__ import annotations

from math import sqrt

import pytest

from consent.language import read_english, read_signals
from consent.language.readability import flesch_kincaid_grade, sentences_of, smog_grade, syllables


def test_flesch_kincaid_published_example():
    # Encyclopaedia article on the Flesch-Kincaid tests: "The Australian platypus is seemingly a hybrid of a mammal and
    # reptilian creature" is grade 11.3, having 24 syllables and 13 words.
    assert flesch_kincaid_grade(words=13, sentences=1, syllables=24) == pytest.approx(11.3, abs=0.05)


@pytest.mark.parametrize("polysyllables", [4, 9, 16, 25, 36, 49, 64, 81, 100])
def test_smog_agrees_with_mclaughlins_short_rule(polysyllables):
    # McLaughlin 1969: for 30 sentences the grade is about 3 + the square root of the count (standard error 1.5 grades).
    assert smog_grade(polysyllables, sentences=30) == pytest.approx(3 + sqrt(polysyllables), abs=0.6)


def test_smog_scales_to_thirty_sentences():
    assert smog_grade(7, 10) == pytest.approx(smog_grade(21, 30))


# Syllables as English dictionaries divide the words, counted by hand.
SYLLABLES = {
    1: "eye drop drops lens eyes blurred filled dropped wiped whole times don't the",
    2: "doctors surgeon surgeons bottle bottles people cloudy glasses wanted needed hundred covered capsule sutures "
    "pressure patient seeing quiet vision special language Monday",
    3: "medicine cataract retina glaucoma hospital infection injected serious period area idea telephone tomorrow",
    4: "operation usually material anaesthetic emergency inflammation",
    5: "antibiotic",
}


@pytest.mark.parametrize(("word", "count"), [(word, n) for n, words in SYLLABLES.items() for word in words.split()])
def test_syllables(word, count):
    assert syllables(word) == count


def test_counts_by_hand():
    # Counted by hand: 2 sentences, 5 + 4 words, 5 + 9 syllables, polysyllables "Telephone" and "hospital".
    reading = read_english("Wash your hands **with** soap. Telephone the hospital again!")
    assert (reading.sentences, reading.words, reading.longest_sentence) == (2, 9, 5)
    assert (reading.syllables, reading.polysyllables) == (5 + 3 + 1 + 3 + 2, 2)
    assert reading.flesch_kincaid_grade == pytest.approx(0.39 * 9 / 2 + 11.8 * 14 / 9 - 15.59)


def test_sentences():
    assert sentences_of("Dr. Sen uses 0.5 ml, e.g. of dye. Is it safe?\n- Yes\n\n* no") == [
        "Dr. Sen uses 0.5 ml, e.g. of dye.",
        "Is it safe?",
        "- Yes",
        "* no",
    ]
    assert len(sentences_of("চোখ ধোবেন না। ফোন করুন। ভয় নেই?")) == 3
    assert len(sentences_of("آنکھ نہ دھوئیں۔ فون کریں؟ شکریہ")) == 3


def test_signals_by_hand():
    # Akshara by hand: আপনার 4 (আ প না র), চোখ 2, ভালো 2, অপারেশন 5 (অ পা রে শ ন), শেষ 2; no conjunct.
    signals = read_signals("আপনার চোখ ভালো। অপারেশন শেষ।")
    assert (signals.sentences, signals.words, signals.longest_sentence, signals.conjuncts) == (2, 5, 3, 0)
    assert signals.mean_words_per_sentence == 2.5
    assert signals.long_word_share == pytest.approx(2 / 5)


def test_a_conjunct_is_one_akshara():
    # স্পষ্ট: two written syllables (স্প ষ্ট), two conjuncts.
    signals = read_signals("স্পষ্ট")
    assert (signals.conjuncts, signals.long_word_share) == (2, 0)


def test_other_languages_get_no_grade():
    # Sinha 2012 (COLING): English formulas do not carry over to Hindi and Bengali.
    assert not [name for name in vars(read_signals("शब्द")) if "grade" in name]


def test_no_words():
    for read in (read_english, read_signals):
        with pytest.raises(ValueError, match="without words"):
            read(" ** । ")
