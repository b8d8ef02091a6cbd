"""Small catalogues written for the tests; the real ones are only walked by test_real_catalogues."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from consent.language import plural_header

WriteCatalogue = Callable[..., Path]

ENGLISH = """
#. Shown under the heading.
msgid "form.why"
msgstr "The lens of your eye has become **cloudy**."

msgid "form.eye"
msgstr "We operate on the {eye} on {day} at {time}."

msgid "form.phone"
msgstr "Telephone {phone} & ask."

msgid "form.dose"
msgstr "{count} drops of {drug}, {strength} mg/ml."

msgid "eye.right"
msgstr "**right** eye"

msgid "x.days"
msgid_plural "x.days"
msgstr[0] "{count} day"
msgstr[1] "{count} days"
"""

BENGALI = """
msgid "form.why"
msgstr "আপনার চোখের লেন্স **ঘোলা** হয়ে গেছে।"

msgid "form.eye"
msgstr "{day} {time} টায় আপনার {eye} অপারেশন হবে।"

msgid "form.phone"
msgstr "{phone} নম্বরে ফোন করুন।"

msgid "form.dose"
msgstr "{drug}, {strength} মিগ্রা, {count} ফোঁটা।"

msgid "eye.right"
msgstr "**ডান** চোখ"

msgid "x.days"
msgid_plural "x.days"
msgstr[0] "{count} দিন"
msgstr[1] "{count} দিন ধরে"
"""

URDU = """
msgid "form.why"
msgstr "آپ کی آنکھ کا عدسہ **دھندلا** ہو گیا ہے۔ 5-10 LASER"

msgid "form.eye"
msgstr "{day} کو {time} بجے آپ کی {eye} کا آپریشن ہو گا۔"

msgid "form.phone"
msgstr "فون {phone} پر پوچھیں۔"

msgid "form.dose"
msgstr "{drug}، {strength} mg/ml، {count} قطرے۔"

msgid "eye.right"
msgstr "**دائیں** آنکھ"

msgid "x.days"
msgid_plural "x.days"
msgstr[0] "{count} دن"
msgstr[1] "{count} دنوں"
"""


def write(folder: Path, tag: str, body: str, plurals: str | None = None, language: str | None = None) -> Path:
    """Writes one catalogue under ``folder`` and returns its path."""
    header = [
        'msgid ""',
        'msgstr ""',
        f'"Language: {language or tag}\\n"',
        '"MIME-Version: 1.0\\n"',
        '"Content-Type: text/plain; charset=UTF-8\\n"',
        f'"Plural-Forms: {plural_header(tag) if plurals is None else plurals}\\n"',
    ]
    path = folder / tag / "LC_MESSAGES" / "consent.po"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join(header) + "\n" + body, encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def write_catalogue() -> WriteCatalogue:
    """The function that writes a catalogue."""
    return write


@pytest.fixture(scope="session")
def bodies() -> dict[str, str]:
    """The messages of the small catalogues by language."""
    return {"en": ENGLISH, "bn": BENGALI, "ur": URDU}


@pytest.fixture(scope="session")
def words(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A locales folder with English, Bengali and Urdu."""
    folder = tmp_path_factory.mktemp("locales")
    for tag, body in (("en", ENGLISH), ("bn", BENGALI), ("ur", URDU)):
        write(folder, tag, body)
    return folder
