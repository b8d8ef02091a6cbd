"""What is wrong, as a page tells it: in the words of the pages, or as it is where nobody has put it into them."""

from __future__ import annotations

import re
from dataclasses import dataclass

from markupsafe import Markup

from consent.desk.words import Words
from consent.errors import Problem
from consent.wording import remark

_NOTHING = Markup()


@dataclass(frozen=True)
class Told:
    """A problem as a page shows it. ``where`` and ``why`` stand only beside what is not in the words of the pages;
    ``english``: that is English."""

    what: Markup
    remedy: Markup
    where: Markup = _NOTHING
    why: Markup = _NOTHING
    english: bool = False

    @property
    def sentence(self) -> Markup:
        """What is wrong, why it matters and what to do, to be read in one go."""
        return Markup(" ").join(_ended(part) for part in (self.what, self.why, self.remedy) if part)


def told(problem: Problem, words: Words) -> Told:
    """``problem`` in the language of ``words``, without the folders of this machine."""
    said = problem.said
    if said is not None and words.has(said.id):
        what, remedy = (words.say_some(name, said.slots) for name in (said.id, f"{said.id}.do"))
        return Told(what, remedy)
    what, remedy, where, why = (
        Markup.escape(without_folders(text)) for text in (problem.what, problem.remedy, problem.where, problem.why)
    )
    return Told(what, remedy, where, why, english=True)


def fault(message: str, /, **slots: object) -> Problem:
    """A problem that only a page finds: it has no other words than those of ``message``."""
    return Problem(message, "", said=remark(message, **slots))


def without_folders(text: str) -> str:
    """``text`` without the folders of this machine, which are nothing for a page: of a file its name is left."""
    return _FOLDERS.sub("", text)


_FOLDERS = re.compile(r"(?<![\w:/])(?:[A-Za-z]:)?[/\\](?:[^/\\,:;\"]*[/\\])*(?=[^/\\,:;\"]*\.\w)")
_STOPS = (".", "?", "!", "।")


def _ended(part: Markup) -> Markup:
    capital = part[:1].upper() + part[1:]
    return capital if capital.endswith(_STOPS) else capital + "."
