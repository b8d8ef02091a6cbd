"""For contributors: writes a catalogue anew in the order of the English one, with its notes for translators.

``python -m consent.language.renew te`` begins a language or brings it into step: what is translated stays, what is
missing stands empty, what English no longer has is gone.
"""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path

from consent.errors import ConsentError
from consent.language.catalogue import DESK_DOMAIN, SHEETS_DOMAIN, SOURCE_LANGUAGE, catalogue_path
from consent.language.plurals import plural_header, plural_rule
from consent.language.po import Message, read_po
from consent.language.tags import locale_of

_ID = re.compile(r'msgid "(.+)"')
_ABOUT = {SHEETS_DOMAIN: "the consent papers", DESK_DOMAIN: "the pages in a browser"}


def renewed(tag: str, directory: Path | None = None, domain: str = SHEETS_DOMAIN) -> str:
    """The text of a catalogue: sections, notes, ids and their order as in English, the words as they stand.

    LanguageError where either file cannot be read.
    """
    path = catalogue_path(tag, directory, domain)
    words: Mapping[str, Message] = {}
    if path.exists():
        words = {message.id: message for message in read_po(path, plural_rule(tag).forms).entries}
    english = catalogue_path(SOURCE_LANGUAGE, directory, domain).read_text(encoding="utf-8")
    _, _, messages = english.partition("\n\n")
    return "\n".join([*_head(tag, domain), "", *_lines(messages, words, plural_rule(tag).forms)]).rstrip("\n") + "\n"


def _head(tag: str, domain: str) -> Iterator[str]:
    yield f"# {locale_of(tag).english_name} messages of {_ABOUT[domain]}. Keyed by stable ids."
    yield "# Numbers, eyes, names, dates and telephone numbers are slots filled by code: keep every {slot} as it is."
    yield 'msgid ""\nmsgstr ""'
    yield f'"Language: {tag}\\n"'
    yield '"MIME-Version: 1.0\\n"'
    yield '"Content-Type: text/plain; charset=UTF-8\\n"'
    yield '"Content-Transfer-Encoding: 8bit\\n"'
    yield f'"Plural-Forms: {plural_header(tag)}\\n"'


def _lines(messages: str, words: Mapping[str, Message], forms: int) -> Iterator[str]:
    message: Message | None = None
    for line in messages.split("\n"):
        if found := _ID.fullmatch(line):
            message = words.get(found[1])
        if line.startswith("msgstr[0]"):
            told = message.forms if message else ("",) * forms
            yield from (f"msgstr[{number}] {_quoted(form)}" for number, form in enumerate(told))
        elif line.startswith("msgstr "):
            yield f"msgstr {_quoted(message.forms[0] if message else '')}"
        elif not line.startswith("msgstr["):
            yield line


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
    return f'"{escaped}"'


def main(arguments: list[str] | None = None) -> int:
    """Writes the catalogues of one language anew and returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m consent.language.renew", description=__doc__)
    parser.add_argument("tag", help="the language, such as te")
    parser.add_argument("--desk", action="store_true", help="the words of the pages in a browser, not those on paper")
    options = parser.parse_args(arguments)
    domain = DESK_DOMAIN if options.desk else SHEETS_DOMAIN
    try:
        text = renewed(options.tag, None, domain)
    except ConsentError as error:
        sys.stderr.write(f"{error}\n")
        return error.exit_code
    path = catalogue_path(options.tag, None, domain)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    sys.stdout.write(f"{path}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
