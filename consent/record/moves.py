"""What may be recorded of a case, from which state, by whom: rules as data, checked when they are read."""

from __future__ import annotations

from enum import StrEnum
from functools import cache
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, RootModel

from consent.case.reading import read_model
from consent.errors import AccessError, MoveError, Problem, RecordError
from consent.language import Quoted
from consent.record.ledger import Person
from consent.record.patch import is_within
from consent.resources import package_data
from consent.wording import remark


class State(StrEnum):
    """Where a case stands."""

    NONE = "none"
    DRAFT = "draft"
    EXPLAINED = "explained"
    SENT_BACK = "sent back"
    SIGNED_OFF = "signed off"
    CONSENTED = "consented"
    CONFIRMED = "confirmed"
    DONE = "done"
    CLOSED = "closed"
    WITHDRAWN = "withdrawn"
    DECLINED = "declined"
    WANTS_TIME = "wants time"


class Role(StrEnum):
    """What somebody does in the clinic."""

    COUNSELLOR = "counsellor"
    SURGEON = "surgeon"
    THEATRE = "theatre"
    LEAD = "lead"
    AUDITOR = "auditor"


class Move(BaseModel):
    """One row of moves.toml."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    origins: tuple[State, ...] = Field(alias="from", min_length=1)
    to: State | None = None
    roles: tuple[Role, ...] = Field(min_length=1)
    parts: tuple[str, ...] = ()
    after_surgery: tuple[str, ...] | None = None
    password: bool = False
    licensed: bool = False
    reason: bool = False
    quiet: bool = False
    open: tuple[str, ...] = ()
    seals: Literal["consent", "aftercare"] | None = None
    voids: Literal["always", "where words change"] | None = None

    def parts_in(self, state: State) -> tuple[str, ...]:
        """The parts of the case that such an entry may change while the case is ``state``."""
        return self.parts if state is not State.DONE or self.after_surgery is None else self.after_surgery


class Moves(RootModel[dict[str, Move]]):
    """The whole of moves.toml."""


@cache
def moves() -> dict[str, Move]:
    """Every kind of entry about a case, by its name."""
    return read_model(package_data("record", "moves.toml"), Moves, RecordError).root


def move(kind: str) -> Move:
    """The row of ``kind``. Raises ``MoveError`` for a kind nobody wrote."""
    if kind not in moves():
        raise MoveError(Problem("there is no such entry", kind, remedy=f"choose from: {', '.join(moves())}"))
    return moves()[kind]


def role_for(kind: str, person: Person) -> Role:
    """The role in which ``person`` may make an entry of ``kind``. Raises ``AccessError`` where there is none."""
    wanted = move(kind)
    for role in wanted.roles:
        if role in person.roles:
            if wanted.licensed and not person.registration:
                raise AccessError(
                    Problem(
                        f"{person.name} has no registration as a clinician on record",
                        kind,
                        "only a licensed clinician may do this",
                        "the clinic lead enters the registration with the account",
                        remark("problem.no-registration", name=Quoted(person.name)),
                    )
                )
            return role
    raise AccessError(
        Problem(
            f"{person.name} may not do this as {', '.join(person.roles) or 'nobody'}",
            kind,
            remedy=f"it needs: {', '.join(wanted.roles)}",
            said=remark("problem.not-your-part", name=Quoted(person.name), kind=remark(f"record.kind.{kind}")),
        )
    )


def refuse_from(kind: str, state: State) -> None:
    """Raise ``MoveError`` where an entry of ``kind`` cannot follow on ``state``."""
    if state not in move(kind).origins:
        raise MoveError(
            Problem(
                f'the case is "{state}"',
                kind,
                remedy=f"it can be recorded when the case is: {', '.join(move(kind).origins)}",
                said=remark(
                    "problem.not-in-this-state",
                    state=remark(f"record.state.{state}"),
                    kind=remark(f"record.kind.{kind}"),
                ),
            )
        )


def refuse_parts(kind: str, touched: tuple[str, ...], state: State) -> None:
    """Raise ``MoveError`` where an entry of ``kind`` would change a part of a case in ``state`` that is not its own."""
    parts = move(kind).parts_in(state)
    beyond = [path for path in touched if not is_within(path, parts)]
    if beyond:
        once = is_within(beyond[0], move(kind).parts)
        raise MoveError(
            Problem(
                f"this entry does not change {beyond[0]}" + (", now that the operation is done" if once else ""),
                kind,
                "each part of the case is changed by its own kind of entry, so that the record says what was done",
                f"it changes: {', '.join(parts) or 'nothing'}",
            )
        )
