"""Reads one gettext file with Babel's parser and keeps what Babel's catalogue merges away: doubles, the raw header."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, cast

from consent.errors import LanguageError, Problem

if TYPE_CHECKING:
    from babel.messages.catalog import Catalog
    from babel.messages.catalog import Message as PoEntry

SLOT = re.compile(r"\{([a-z][a-z0-9_]*)\}")
BOLD = "**"
_LINE = re.compile(r'(?:#.*|(?:msg(?:id|id_plural|ctxt|str(?:\[\d\])?)\s+)?"(?:[^"\\]|\\.)*")?')


@dataclass(frozen=True)
class Message:
    """One message in one language: its forms (one, or one per plural form), and the note for translators."""

    id: str
    forms: tuple[str, ...]
    plural: bool = False
    comment: str = ""
    fuzzy: bool = False

    @cached_property
    def slots(self) -> frozenset[str]:
        """Names of the slots of all forms."""
        return frozenset(name for form in self.forms for name in SLOT.findall(form))

    @cached_property
    def empty(self) -> bool:
        """True if any form has no words."""
        return not all(form.strip() for form in self.forms)

    @cached_property
    def fingerprint(self) -> str:
        """First 12 hexadecimal digits of the SHA-256 of the forms, joined by line feeds."""
        return hashlib.sha256("\n".join(self.forms).encode()).hexdigest()[:12]


@dataclass
class PoFile:
    """What stands in a gettext file. It takes the place of Babel's Catalog while Babel's parser runs."""

    num_plurals: int
    charset: str = "utf-8"
    header: dict[str, str] = field(default_factory=dict)
    entries: list[Message] = field(default_factory=list)
    in_context: list[str] = field(default_factory=list)

    def __setitem__(self, _: object, entry: PoEntry) -> None:
        plural = not isinstance(entry.id, str)
        name = entry.id if isinstance(entry.id, str) else entry.id[0]
        forms = (entry.string,) if isinstance(entry.string, str) else tuple(entry.string or ())
        if not name:
            self.header.update(_header_fields(forms[0]))
            return
        if entry.context is not None or (plural and len(set(entry.id)) > 1):
            self.in_context.append(name)
        self.entries.append(Message(name, forms, plural, " ".join(entry.auto_comments), entry.fuzzy))


def read_po(path: Path, num_plurals: int) -> PoFile:
    """Entries and header of a gettext file; LanguageError naming file and line if it is malformed."""
    from babel.messages.pofile import PoFileError, PoFileParser

    lines = _lines(path)
    found = PoFile(num_plurals)
    parser = PoFileParser(cast("Catalog", found), ignore_obsolete=True, abort_invalid=True)
    try:
        parser.parse(lines)
    except (PoFileError, ValueError, IndexError) as error:
        raise LanguageError(Problem(what=f"not a well formed gettext file ({error})", where=str(path))) from None
    return found


def _lines(path: Path) -> list[str]:
    try:
        lines = path.read_text(encoding="utf-8").split("\n")
    except FileNotFoundError:
        raise LanguageError(
            Problem(what="there is no catalogue for this language", where=str(path), remedy="choose another language")
        ) from None
    except UnicodeDecodeError as error:
        raise LanguageError(Problem(what=f"not UTF-8 text ({error.reason})", where=str(path))) from None
    broken = [number for number, line in enumerate(lines, 1) if not _LINE.fullmatch(line.strip())]
    if broken:
        raise LanguageError(
            Problem(what="a quotation mark or keyword is wrong", where=f"{path}, line {number}") for number in broken
        )
    return lines


def _header_fields(text: str) -> dict[str, str]:
    pairs = (line.partition(":") for line in text.splitlines())
    return {name.strip().lower(): value.strip() for name, _, value in pairs}
