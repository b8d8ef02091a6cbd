"""What a sheet gets when it asks for a message."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from decimal import Decimal

import pytest

from consent.errors import LanguageError
from consent.language import Day, DayPart, Quoted, Range, Said, Speaker, Tongue, Verbatim, Year

PHONE = Verbatim("00000 11111")


def test_words_without_slots(words):
    said = Speaker("en", directory=words).say("form.why")
    assert said == Said(
        "The lens of your eye has become <strong>cloudy</strong>.", "The lens of your eye has become cloudy."
    )


def test_slots_are_said_in_the_language(words):
    bn = Speaker("bn", directory=words)
    said = bn.say("form.eye", eye=bn.say("eye.right"), day=date(2026, 3, 9), time=time(7))
    assert said.plain == "সোমবার, ৯ মার্চ, ২০২৬ ০৭:০০ টায় আপনার ডান চোখ অপারেশন হবে।"
    assert "<strong>ডান</strong>" in said.html


def test_latin_digits_when_the_clinic_chose_them(words):
    bn = Speaker("bn", "latin", words)
    assert bn.say("form.eye", eye=Quoted("x"), day=Day(date(2026, 3, 9)), time=time(7)).plain.startswith(
        "9 মার্চ, 2026 07:00"
    )


def test_telephone_numbers_stay_as_entered(words):
    # A number dialled from paper: the same digits as on the telephone, in the clinic's own grouping.
    assert Speaker("bn", directory=words).say("form.phone", phone=PHONE).plain == "00000 11111 নম্বরে ফোন করুন।"
    assert '<bdi dir="ltr">00000 11111</bdi>' in Speaker("ur", directory=words).say("form.phone", phone=PHONE).html


@pytest.mark.parametrize("kind", [Quoted, Verbatim])
def test_outside_text_is_never_markup(kind, words):
    for tag in ("en", "ur"):
        said = Speaker(tag, directory=words).say("form.phone", phone=kind('<b>**x** {phone} & "y"</b>'))
        assert "<b>" not in said.html
        assert "<strong>" not in said.html
        assert "&lt;b&gt;**x** {phone} &amp; &quot;y&quot;&lt;/b&gt;" in said.html
        assert '<b>**x** {phone} & "y"</b>' in said.plain


def test_words_of_the_catalogue_are_escaped_too(words):
    assert Speaker("en", directory=words).say("form.phone", phone=PHONE).html == "Telephone 00000 11111 &amp; ask."


@pytest.mark.parametrize("control", ["\u202e", "\u2066", "\u2069", "\u2067", "\u202a"])
def test_outside_text_cannot_reorder_the_words_around_it(control, words):
    # UAX 9: an override or an unmatched isolate reaches beyond the text it came in.
    said = Speaker("en", directory=words).say("form.phone", phone=Quoted(f"a{control}b"))
    assert control not in said.plain
    assert said.plain == "Telephone ab & ask."


def test_outside_text_has_no_control_characters(words):
    said = Speaker("en", directory=words).say("form.phone", phone=Quoted("a\x00\r\nb\u2028c"))
    assert said.plain == "Telephone a b c & ask."


def test_right_to_left_quote_in_left_to_right_words(words):
    said = Speaker("en", directory=words).say("form.phone", phone=Quoted("مریض 5"))
    assert said.html == 'Telephone <bdi dir="rtl">مریض <bdi dir="ltr">5</bdi></bdi> &amp; ask.'


def test_plural_forms(words):
    # CLDR plurals.xml: English one is 1 alone, Bengali one is 0 and 1.
    en, bn = Speaker("en", directory=words), Speaker("bn", directory=words)
    assert [en.say_count("x.days", n).plain for n in (0, 1, 2)] == ["0 days", "1 day", "2 days"]
    assert [bn.say_count("x.days", n).plain for n in (0, 1, 2)] == ["০ দিন", "১ দিন", "২ দিন ধরে"]


def test_count_may_be_shown_otherwise(words):
    assert Speaker("en", directory=words).say_count("x.days", 2, count=Range(1, 2)).plain == "1–2 days"


def test_values_by_themselves(words):
    en, ur = Speaker("en", directory=words), Speaker("ur", directory=words)
    assert en.show(1234567).html == "1,234,567"
    assert en.show(Year(2026)).plain == "2026"
    assert en.show(Decimal("0.50")).plain == "0.5"
    assert Speaker("bn", directory=words).show(DayPart(time(7))).plain == "৭:০০ সকাল"
    assert ur.show(5).html == '<bdi dir="ltr">5</bdi>'
    assert ur.show(ur.show(5)) == ur.show(5)


def test_used_ids_are_kept_per_speaker(words):
    first, second = Speaker("bn", directory=words), Speaker("bn", directory=words)
    first.say("form.why")
    first.say_count("x.days", 3)
    assert first.used == {"form.why", "x.days"}
    assert second.used == set()


@pytest.mark.parametrize(
    ("slots", "told"),
    [
        ({}, "slot missing: phone"),
        ({"phone": PHONE, "fax": PHONE}, "slot unknown: fax"),
        ({"phone": "00000"}, "str '00000'"),
        ({"phone": 0.5}, "float"),
        ({"phone": True}, "bool"),
        ({"phone": None}, "None"),
        ({"phone": datetime(2026, 2, 9, 7, tzinfo=UTC)}, "date with a time"),
        ({"phone": Quoted(" \n")}, "empty text"),
        ({"phone": Verbatim("")}, "empty text"),
        ({"phone": Range(2, 1)}, "backwards"),
    ],
)
def test_wrong_slots_are_refused_by_name(slots, told, words):
    with pytest.raises(LanguageError) as caught:
        Speaker("bn", directory=words).say("form.phone", **slots)
    assert told in str(caught.value)
    assert "form.phone" in str(caught.value)


def test_count_where_it_belongs(words):
    en = Speaker("en", directory=words)
    with pytest.raises(LanguageError, match="say_count"):
        en.say("x.days", count=2)
    with pytest.raises(LanguageError, match="no plural forms"):
        en.say_count("form.why", 2)
    with pytest.raises(LanguageError, match="no such message"):
        en.say("form.nothing")


def test_templates_print_it_as_it_is(words):
    from markupsafe import escape

    said = Speaker("en", directory=words).say("form.why")
    assert escape(said) == said.html
    assert str(said) == said.plain


@pytest.mark.parametrize(("tag", "said"), [("bn", "বাংলা"), ("mr", "মারাঠি"), ("sat", "সাঁওতালি")])
def test_a_language_nobody_wrote_is_named_as_cldr_does(tag, said):
    # CLDR 46, bn.xml, localeDisplayNames; Bengali itself by the catalogue's own word.
    assert Speaker("bn").show(Tongue(tag)).plain == said


def test_what_is_no_language_is_refused():
    with pytest.raises(LanguageError, match="not a language tag"):
        Speaker("bn").show(Tongue("no such"))
