"""A ninth language is a catalogue, a glossary and a font line: an accented English, 40 % longer, prints whole.

What a script needs is not tried here (tests/render/test_languages.py does), but whether the layout has room, and
whether anything but the files of the language has to change.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from consent.clinic import Clinic
from consent.language import catalogue as catalogues
from consent.language import counts, inspect_catalogue, languages, load_catalogue, refresh_status
from consent.language.glossary import glossary, strays, terms
from consent.language.renew import renewed
from consent.pack import compose_pack
from consent.resources import locales
from tests.conftest import Paper, shipped_case
from tests.render.reading import MM, body, outside, overlapping, squeezed

TAG = "en-GB"
"""A tag with letters, digits and dates of its own in CLDR that the program has no words for."""
LONGER = 0.4
EXAMPLES = ("ordinary", "hard", "torn")
_ACCENTS = str.maketrans("aeiouyncszdlrtAEIOUNCSZ", "áéíóúýñčšžďľŕťÁÉÍÓÚÑČŠŽ")
_PIECE = re.compile(r"(\{[a-z0-9_]+\}|\*\*)")
_WORD = re.compile(r"[A-Za-z]+")


def longer(text: str) -> str:
    """Accented letters, and every word 40 % longer; slots and emphasis stay."""

    def word(found: re.Match[str]) -> str:
        more = math.ceil(LONGER * len(found.group()))
        return found.group().translate(_ACCENTS) + "öxü"[: more % 3] + "mö" * (more // 3) + "ů" * (more // 3)

    return "".join(piece if _PIECE.fullmatch(piece) else _WORD.sub(word, piece) for piece in _PIECE.split(text))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The languages of the program and the ninth, as one folder that the program reads."""
    folder = tmp_path_factory.mktemp("locales")
    for tag in languages():
        (folder / tag).symlink_to(locales() / tag)
    path = folder / TAG / "LC_MESSAGES" / "consent.po"
    path.parent.mkdir(parents=True)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(catalogues, "locales", lambda: folder)
        path.write_text(_filled(renewed(TAG)), encoding="utf-8")
        stems = "\n".join(
            f'[term.{name}]\nsaid = ["{longer(term.english[0])[:3]}"]\n' for name, term in terms().items()
        )
        (folder / TAG / "glossary.toml").write_text(stems, encoding="utf-8")
        refresh_status(TAG, drafted_by="made by a test", on=dt.date(2027, 2, 9))
        yield folder
    for remembered in (inspect_catalogue, load_catalogue):
        remembered.cache_clear()


def _filled(empty: str) -> str:
    """The catalogue as it is begun, with the English made longer in the place of each empty text."""
    english = load_catalogue("en").messages
    name, lines = "", []
    for line in empty.split("\n"):
        name = found[1] if (found := re.fullmatch(r'msgid "(.+)"', line)) else name
        form = int(found[1]) if (found := re.match(r"msgstr\[(\d)\]", line)) else 0
        if line.startswith("msgstr") and line.endswith('""') and name:
            text = longer(english[name].forms[form]).replace("\\", "\\\\").replace('"', '\\"')
            line = line.removesuffix('""') + f'"{text}"'
        lines.append(line)
    return "\n".join(lines)


@pytest.fixture(scope="module")
def papers(folder: Path, clinic: Clinic, tmp_path_factory: pytest.TempPathFactory) -> list[Paper]:
    assert (folder / TAG).is_dir()
    place = tmp_path_factory.mktemp("ninth")
    return [
        Paper(shipped_case(name), document, place, name)
        for name in EXAMPLES
        for tags in ((TAG,), (TAG, "en"))
        for document in compose_pack(shipped_case(name), clinic, tags).documents
        if TAG in dict(document.languages)
    ]


def test_its_words_are_longer(folder: Path) -> None:
    english, ninth = load_catalogue("en").messages, load_catalogue(TAG).messages
    letters = [sum(len(form) for message in one.values() for form in message.forms) for one in (english, ninth)]
    assert letters[1] > 1.3 * letters[0], "slots do not grow"
    assert ninth["form.why.heading"].forms != english["form.why.heading"].forms
    assert folder.name.startswith("locales")


def test_files_of_the_language_are_enough(folder: Path) -> None:
    """Found, complete and sound, on the first rung, with its glossary; nothing else of the program was changed."""
    assert TAG in languages()
    assert len(languages()) == len(list(folder.iterdir()))
    assert inspect_catalogue(TAG)[1] == ()
    assert counts(TAG).by_rung[1] == len(load_catalogue("en").messages)
    assert glossary(TAG).keys() == terms().keys()
    assert isinstance(list(strays(TAG)), list)


def test_no_text_is_cut_off_and_no_page_broken(papers: list[Paper]) -> None:
    """Boxes of words by Poppler: none outside the margin, none over another, none in the running foot."""
    assert len(papers) > 40
    for paper in papers:
        header = paper.document.header[0].plain
        for number, page in enumerate(paper.boxes, 1):
            assert [word.text for word in outside(page, 4 * MM)] == [], (paper.name, number)
            assert overlapping(page)[:4] == [], (paper.name, number)
            words = list(body(page.words, header))
            foot = min(
                (word.top for word in page.words[len(words) :] if word.top > page.height / 2), default=page.height
            )
            assert [word.text for word in words if (word.top + word.bottom) / 2 > foot] == [], (paper.name, number)


def test_every_word_is_on_the_paper(papers: list[Paper]) -> None:
    for paper in papers:
        if paper.document.layout in ("landscape", "card"):
            continue  # its title is not printed
        read = squeezed("".join(paper.pages))
        texts = [text for tag, texts in paper.document.texts_by_language().items() if tag == TAG for text in texts]
        missing = [text for text in texts if not all(squeezed(word) in read for word in text.split())]
        assert missing == [], paper.name
