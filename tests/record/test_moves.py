"""Every kind of entry, from every state, by every role: allowed as a careful clinic would have it, not otherwise."""

from __future__ import annotations

import itertools

import pytest

from consent.errors import AccessError, MoveError
from consent.record.ledger import Person
from consent.record.moves import Role, State, moves, refuse_from, refuse_parts, role_for
from tests.record.expected_moves import EXPECTED, PASSWORD, QUIET

STATES = [state for state in State if state is not State.NONE]


def test_the_two_tables_name_the_same_kinds() -> None:
    assert set(moves()) == {*EXPECTED, "opened"}


@pytest.mark.parametrize("kind", sorted(EXPECTED))
def test_from_every_state(kind: str) -> None:
    origins, to, _ = EXPECTED[kind]
    assert moves()[kind].to == to
    for state in STATES:
        if state.value in origins:
            refuse_from(kind, state)
        else:
            with pytest.raises(MoveError, match=f'the case is "{state}"'):
                refuse_from(kind, state)


@pytest.mark.parametrize(("kind", "role"), list(itertools.product(sorted(EXPECTED), Role)))
def test_by_every_role(kind: str, role: Role) -> None:
    person = Person("a", "A. Example", (role.value,), "INVENTED-0009")
    if role.value in EXPECTED[kind][2]:
        assert role_for(kind, person) == role
    else:
        with pytest.raises(AccessError, match="may not do this"):
            role_for(kind, person)


@pytest.mark.parametrize("kind", sorted(kind for kind, (_, _, who) in EXPECTED.items() if who == {"surgeon"}))
def test_what_only_a_surgeon_does_needs_a_registration(kind: str) -> None:
    """A licensed clinician answers, signs, operates and orders; 21 CFR 11.10(g), authority checks."""
    with pytest.raises(AccessError, match="no registration"):
        role_for(kind, Person("a", "A. Example", ("surgeon",)))


def test_passwords_are_asked_for_signatures() -> None:
    assert {kind for kind, move in moves().items() if move.password} == PASSWORD


def test_quiet_entries_take_nothing_from_anybody() -> None:
    assert {kind for kind, move in moves().items() if move.quiet} == QUIET
    assert not any(moves()[kind].parts or moves()[kind].to for kind in QUIET)


def test_each_kind_changes_its_own_parts_only() -> None:
    refuse_parts("said-back", ("talk.said_back",), State.DRAFT)
    with pytest.raises(MoveError, match=r"does not change plan\.lens\.power_d"):
        refuse_parts("said-back", ("talk.said_back", "plan.lens.power_d"), State.DRAFT)
    with pytest.raises(MoveError, match="does not change answers"):
        refuse_parts("changed", ("answers",), State.DRAFT)


@pytest.mark.parametrize("state", [state for state in STATES if state.value in EXPECTED["changed"][0]])
def test_the_plan_stays_as_it_was_agreed_once_the_operation_is_done(state: State) -> None:
    """Samira Kohli v Dr Prabha Manchanda (2008) 2 SCC 1, para 32: a step is held against what was agreed before it."""
    refuse_parts("changed", ("plan.date", "patient.telephone"), state)
    if state is not State.DONE:
        refuse_parts("changed", ("plan.extra_steps",), state)
        return
    for path in ("plan", "plan.extra_steps", "plan.lens.power_d"):
        with pytest.raises(MoveError, match=f"does not change {path}, now that the operation is done"):
            refuse_parts("changed", (path,), state)


def test_an_unknown_kind_names_those_there_are() -> None:
    with pytest.raises(MoveError, match="choose from: opened"):
        refuse_from("signed", State.DRAFT)
