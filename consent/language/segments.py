"""A message cut once into pieces, and pieces joined into words with emphasis and isolation."""

from __future__ import annotations

import re
from collections.abc import Iterable
from enum import Enum
from html import escape
from typing import NamedTuple

from consent.language.isolation import belongs_between, isolate_html, isolate_plain, split_runs
from consent.language.po import BOLD, SLOT
from consent.language.values import Said

_MARK = re.compile(rf"({re.escape(BOLD)}|{SLOT.pattern.replace('(', '(?:')})")


class Kind(Enum):
    """What the joiner may do with a piece."""

    WORDS = "words"
    RUN = "run"  # goes left to right; joins its neighbours: 5 + mg
    SEALED = "sealed"  # finished


class Piece(NamedTuple):
    """A stretch of text. The ``html`` of a RUN is escaped but not isolated yet."""

    kind: Kind
    html: str
    plain: str


Part = Piece | str
"""A piece, or the name of a slot."""


def compile_text(text: str, *, rtl: bool) -> tuple[Part, ...]:
    """The parts of one form of a message, in order."""
    parts: list[Part] = []
    bold = False
    for token in filter(None, _MARK.split(text)):
        if token == BOLD:
            bold = not bold
            parts.append(Piece(Kind.SEALED, "<strong>" if bold else "</strong>", ""))
        elif slot := SLOT.fullmatch(token):
            parts.append(slot[1])
        else:
            parts += _literal(token, rtl=rtl)
    return tuple(parts)


def _literal(text: str, *, rtl: bool) -> list[Piece]:
    if not rtl:
        return [Piece(Kind.WORDS, escape(text), text)]
    return [Piece(Kind.RUN if run else Kind.WORDS, escape(piece), piece) for run, piece in split_runs(text)]


def assemble(pieces: Iterable[Piece], *, rtl: bool) -> Said:
    """The pieces as words; in right-to-left text runs that belong together share one isolation."""
    if not rtl:
        pieces = list(pieces)
        return Said("".join([piece.html for piece in pieces]), "".join([piece.plain for piece in pieces]))
    joined = [_finished(piece) for piece in _joined(pieces)]
    return Said("".join([piece.html for piece in joined]), "".join([piece.plain for piece in joined]))


def _joined(pieces: Iterable[Piece]) -> list[Piece]:
    done: list[Piece] = []
    for piece in pieces:
        taken = _runs_joining(done, piece)
        if taken:
            group = [*done[-taken:], piece]
            del done[-taken:]
            piece = Piece(Kind.RUN, "".join(p.html for p in group), "".join(p.plain for p in group))
        done.append(piece)
    return done


def _runs_joining(done: list[Piece], piece: Piece) -> int:
    """How many of the last pieces form one run with this one."""
    if piece.kind is not Kind.RUN or not done:
        return 0
    if done[-1].kind is Kind.RUN:
        return 1
    if len(done) < 2 or done[-1].kind is not Kind.WORDS or done[-2].kind is not Kind.RUN:
        return 0
    return 2 if belongs_between(done[-2].plain, done[-1].plain, piece.plain) else 0


def _finished(piece: Piece) -> Piece:
    if piece.kind is not Kind.RUN:
        return piece
    return Piece(Kind.SEALED, f'<bdi dir="ltr">{piece.html}</bdi>', isolate_plain(piece.plain))


def sealed_run(text: str) -> Piece:
    """Left-to-right text that joins nothing around it."""
    return Piece(Kind.SEALED, isolate_html(text), isolate_plain(text))
