"""What was typed into a form: texts by name, never trusted, never longer than a page of writing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from litestar.datastructures import UploadFile
from litestar.di import NamedDependency
from litestar.params import SkipValidation

from consent.desk.here import Asked
from consent.desk.incoming import ME, MOST_FIELDS
from consent.errors import AccessError, Problem, UsageError
from consent.wording import remark

LONGEST_TEXT, LONGEST_FILE = 4000, 200_000


@dataclass(frozen=True)
class Sent:
    """The fields of a form, in the order sent; ``files`` are what was uploaded."""

    fields: tuple[tuple[str, str], ...] = ()
    files: tuple[tuple[str, UploadFile], ...] = ()

    def text(self, name: str) -> str:
        """The last text sent as ``name``, without blanks around it; empty where none was."""
        return next((value.strip() for key, value in reversed(self.fields) if key == name), "")

    def texts(self, name: str) -> tuple[str, ...]:
        """Every text sent as ``name`` that says something."""
        return tuple(value.strip() for key, value in self.fields if key == name and value.strip())

    def raw(self, name: str) -> str:
        """The text sent as ``name`` as it was typed, blanks and all."""
        return next((value for key, value in reversed(self.fields) if key == name), "")

    def whole(self, name: str, default: int = 0) -> int:
        """The whole number sent as ``name``; ``default`` where there is none, or none that could be meant."""
        text = self.text(name)
        return int(text) if text.isascii() and text.isdigit() and len(text) < _DIGITS else default

    def has(self, name: str) -> bool:
        """Whether ``name`` was sent, be it empty."""
        return any(key == name for key, _ in self.fields)

    def names(self) -> Iterable[str]:
        """Every name sent, once."""
        return dict.fromkeys(name for name, _ in self.fields)


Form = NamedDependency[SkipValidation[Sent]]
"""How a page asks for what was sent to it."""
_DIGITS = 16


def _longest(name: str, request: Asked) -> int:
    """Signs of one field: a page of writing, more only where a route takes a whole file as text."""
    return LONGEST_FILE if name == "text" and request.url.path == "/lead/settings/text" else LONGEST_TEXT


async def read_form(request: Asked) -> Sent:
    """What was sent with ``request``. Raises ``UsageError`` for more than a form of ours can hold."""
    sent = await request.form()
    fields: list[tuple[str, str]] = []
    files: list[tuple[str, UploadFile]] = []
    for name, value in sent.multi_items():
        if isinstance(value, UploadFile):
            files.append((name, value))
        else:
            fields.append((name, str(value)))
    if len(fields) > MOST_FIELDS or any(len(value) > _longest(name, request) for name, value in fields):
        raise UsageError(
            Problem(
                "more was sent than this form can hold",
                "form",
                remedy="write less, and send it again",
                said=remark("problem.too-much-sent"),
            )
        )
    return _own(request, Sent(tuple(fields), tuple(files)))


def _own(request: Asked, sent: Sent) -> Sent:
    """``sent``, unless somebody else opened the page on this device: nothing is entered in another's name."""
    account = request.user if "user" in request.scope else None
    if account is not None and sent.has(ME) and sent.text(ME) != account.id:
        raise AccessError(Problem("somebody else opened this page", account.login, said=remark("entry.another")))
    return sent
