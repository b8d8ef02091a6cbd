"""One family of errors: each says what is wrong, where, why it matters and what to do."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from consent.wording import Remark


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong, in the words of the person who has to mend it.

    ``said``: the same for somebody who reads the pages, in their language: the message of the remark, and for what to
    do the one of that name with ``.do`` behind it.
    """

    what: str
    where: str
    why: str = ""
    remedy: str = ""
    said: Remark | None = None

    def __str__(self) -> str:
        lines = [f"{self.where}: {self.what}"]
        if self.why:
            lines.append(f"    why it matters: {self.why}")
        if self.remedy:
            lines.append(f"    what to do: {self.remedy}")
        return "\n".join(lines)


class ConsentError(Exception):
    """Something a person can mend. Carries every problem found, not only the first."""

    exit_code = 1
    heading = "This could not be done."

    def __init__(self, problems: Problem | Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = (problems,) if isinstance(problems, Problem) else tuple(problems)
        super().__init__(str(self))

    def __str__(self) -> str:
        return "\n".join([self.heading, *(f"  {problem}" for problem in self.problems)])


class UsageError(ConsentError):
    """The command was called in a way it does not know."""

    exit_code = 2
    heading = "The command was not understood."


class CaseError(ConsentError):
    """The case file cannot be used as it stands."""

    exit_code = 3
    heading = "The case file cannot be used yet."


class ClinicError(ConsentError):
    """The clinic's settings file cannot be used as it stands."""

    exit_code = 4
    heading = "The clinic's settings cannot be used yet."


class EvidenceError(ConsentError):
    """A file of the evidence library is malformed or contradicts itself."""

    exit_code = 5
    heading = "The evidence library is not in order."


class DropsError(ConsentError):
    """A drug, a regimen or a schedule cannot be used as it stands."""

    exit_code = 6
    heading = "The drop plan cannot be made."


class LanguageError(ConsentError):
    """A message, plural form or number cannot be said in the language asked for."""

    exit_code = 7
    heading = "The words are not all there."


class PrintError(ConsentError):
    """A sheet would come out wrong on paper, so it does not come out."""

    exit_code = 8
    heading = "The sheet was not printed."


class MachineError(ConsentError):
    """This machine lacks something that printing needs."""

    exit_code = 9
    heading = "This machine is not ready."


class IncompleteError(ConsentError):
    """A consent form lacks what its profile demands, so it is not printed."""

    exit_code = 10
    heading = "The consent form was not printed: something it must hold is missing."


class RecordError(ConsentError):
    """The record cannot be read or written, or does not hold together."""

    exit_code = 11
    heading = "The record cannot be used as it stands."


class AbsentError(RecordError):
    """What was asked for is not in the record, or is there no longer."""


class PaperError(ConsentError):
    """A paper is not what was signed, or nobody can tell."""

    exit_code = 12
    heading = "The paper does not hold."


class AccessError(ConsentError):
    """Somebody is not who they say, or may not do this."""

    exit_code = 13
    heading = "You cannot do this."


class MoveError(ConsentError):
    """The case is not where it would have to be for this."""

    exit_code = 14
    heading = "This cannot be recorded yet."


class ConflictError(ConsentError):
    """Somebody else wrote to the case in the meantime. Nothing was lost, and nothing was written over."""

    exit_code = 15
    heading = "Somebody else has written to this case since you last saw it."


class UnfinishedError(ConsentError):
    """Of a list, some patients have no papers. Everybody else's are made."""

    exit_code = 16
    heading = "Not every patient of the list has papers; those of all others are made."
