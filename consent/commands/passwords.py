"""How a command is given a password: typed at the terminal unseen, or as lines of its input; never as an option."""

from __future__ import annotations

import sys
from getpass import getpass
from pathlib import Path

from consent.errors import Problem, UsageError


def ask(prompt: str) -> str:
    """The password typed at ``prompt``, or the next line of the input where nobody sits at a terminal."""
    try:
        line = f"{getpass(f'{prompt}: ')}\n" if sys.stdin.isatty() else sys.stdin.readline()
    except EOFError:
        line = ""
    except UnicodeDecodeError as failure:
        raise UsageError(Problem("the password is not text", prompt, remedy="give it as a line in UTF-8")) from failure
    if not line:
        raise UsageError(Problem("a password is needed and the input has ended", prompt, remedy="give it as a line"))
    return line.rstrip("\n")


def ask_new(prompt: str) -> str:
    """A new password, typed twice at a terminal. Raises ``UsageError`` where the two differ."""
    first = ask(prompt)
    if sys.stdin.isatty() and ask(f"{prompt}, again") != first:
        raise UsageError(Problem("the two are not alike", prompt, remedy="type it again"))
    return first


def read_passphrase(path: str) -> str:
    """The passphrase on the first line of the file ``path``, for a backup that nobody is there to start."""
    try:
        with Path(path).open(encoding="utf-8") as file:
            line = file.readline().rstrip("\r\n")
    except (OSError, UnicodeDecodeError) as failure:
        what = failure.strerror if isinstance(failure, OSError) else "it is not text"
        raise UsageError(Problem(f"the passphrase cannot be read ({what})", path)) from failure
    if not line:
        raise UsageError(Problem("there is no passphrase on the first line", path, remedy="write it there"))
    return line
