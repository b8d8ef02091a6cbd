"""Random people enter random things at random moments: nothing forbidden is recorded, nothing allowed is lost."""

from __future__ import annotations

import datetime as dt
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from consent.clinic import read_clinic
from consent.errors import AccessError, ConflictError, ConsentError, MoveError
from consent.record.accounts import set_password
from consent.record.cases import read_case_state
from consent.record.checking import check_record
from consent.record.place import Place, make_record
from consent.record.state import AFTERCARE, CONSENT
from tests.editing import edited
from tests.record.acts import said_with, without_printing
from tests.record.clock import TestClock
from tests.record.expected_moves import ALWAYS_VOIDS, EXPECTED, PASSWORD, QUIET
from tests.record.story import IST, PASSWORDS, Story, make_staff

LOGINS = {"lead": "lila", "surgeon": "asha", "counsellor": "meera", "theatre": "tara", "auditor": "noor"}
AFTER_SIGNING = {"signed off", "consented", "confirmed"}
KINDS = EXPECTED.keys() - {"erased"}
"""Erasing has tests of its own: after it there is little left to be moved."""
START = dt.datetime(2027, 2, 24, 0, 30, tzinfo=IST)
"""Early on the day of surgery: whether it is still that day, or past, is a part of the model."""


def _at(data: Any, path: str) -> Any:
    for key in path.split("."):
        data = data.get(key) if isinstance(data, dict) else None
    return data


class RecordMachine(RuleBasedStateMachine):
    """One case in a real SQLite record beside a model of a few words: its state, its version, its valid papers."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = tempfile.TemporaryDirectory()
        self.patched = without_printing()
        self.patched.__enter__()
        self.clock = TestClock(START)
        self.record = make_record(Place(Path(self.folder.name) / "record"), read_clinic(), self.clock)
        self.story = Story(self.record, make_staff(self.record))
        self.story.open()
        self.state, self.version, self.valid = "draft", 1, {CONSENT: False, AFTERCARE: False}
        self.wrong = {"asha": 0, "lila": 0}
        self.words, self.own = dict(PASSWORDS), {"asha": True, "lila": True}
        self.shown: dict[int, tuple[str, int]] = {}
        self.sequences = [self.story.now.sequence]
        self.acknowledged = [entry.sequence for entry in self.story.entries()]

    def teardown(self) -> None:
        try:
            for sequence, shown in self.shown.items():
                then = read_case_state(self.record, self.story.subject, sequence)
                assert (then.state.value, then.version) == shown, "every moment is told as it was shown then"
        finally:
            self.record.close()
            self.patched.__exit__(None, None, None)
            self.folder.cleanup()

    @initialize()
    def opened(self) -> None:
        assert self.story.now.state == "draft"

    @rule(
        kind=st.sampled_from(sorted(KINDS)),
        role=st.sampled_from(sorted(LOGINS)),
        behind=st.sampled_from([0, 0, 0, 1, 3]),
        right=st.sampled_from([True, True, True, False]),
    )
    def anything(self, kind: str, role: str, behind: int, right: bool) -> None:
        """Whatever comes, by whomever."""
        self.attempt(kind, role, behind, right)

    @rule(pick=st.integers(min_value=0, max_value=99))
    def something_fitting(self, pick: int) -> None:
        """One of the entries that may be made now, by one who may, so that cases get far."""
        fitting = sorted(kind for kind in KINDS if self.state in EXPECTED[kind][0])
        kind = fitting[pick % len(fitting)]
        self.attempt(kind, sorted(EXPECTED[kind][2])[pick % len(EXPECTED[kind][2])], 0, True)

    @rule()
    def onward(self) -> None:
        """The way most cases go."""
        way = {"draft": "explained", "explained": "signed-off", "sent back": "explained", "signed off": "consented"}
        way |= {"consented": "confirmed", "confirmed": "done", "done": "aftercare-issued", "wants time": "explained"}
        way |= {"declined": "reopened", "withdrawn": "reopened", "closed": "noted"}
        kind = way[self.state]
        self.attempt(kind, "theatre" if kind == "confirmed" else "surgeon", 0, True)

    @rule(minutes=st.integers(min_value=1, max_value=90))
    def time_goes_on(self, minutes: int) -> None:
        self.clock.advance(minutes=minutes)

    @precondition(lambda self: self.state in {"signed off", "consented", "confirmed", "draft"})
    @rule(power=st.sampled_from([20.0, 21.0, 22.0]))
    def another_lens(self, power: float) -> None:
        """A change of what was signed takes the case back to a draft; the same lens again changes nothing."""
        now = self.story.now
        alike = now.data["plan"]["lens"]["power_d"] == power
        self.story.enter(self.story.staff.counsellor, "changed", {"plan.lens.power_d": power})
        if not alike and self.state in AFTER_SIGNING:
            self.state, self.version, self.valid[CONSENT] = "draft", self.version + 1, False
        self._recorded()

    @rule(given=st.booleans())
    def another_password(self, given: bool) -> None:
        """The surgeon chooses a new one, or the lead gives one, which is good for everything but signing."""
        surgeon, lead = self.story.staff.surgeon, self.story.staff.lead
        self.words["asha"] = f"words number {len(self.acknowledged)} and {self.clock.now:%H %M %S %f}"
        set_password(self.record, (lead if given else surgeon).person, "asha", self.words["asha"])
        self.own["asha"] = not given

    def attempt(self, kind: str, role: str, behind: int, right: bool) -> None:
        """Enter ``kind`` as ``role``, having seen all but the last ``behind`` entries that change something."""
        account = getattr(self.story.staff, role)
        now = self.story.now
        seen = self.sequences[-1 - min(behind, len(self.sequences) - 1)]
        changes, reason, details = said_with(kind, self.story, now, self.clock.now)
        expected = self._foretold(kind, role, seen, right, now, changes or {})
        password = None
        if kind in PASSWORD:
            password = self.words[LOGINS[role]] if right else "not the words that were chosen"
        try:
            self.story.enter(account, kind, changes, reason, details, password, seen)
        except ConsentError as refusal:
            assert expected is not None, f"{kind} by {role} in {self.state} was refused: {refusal}"
            assert isinstance(refusal, expected), f"{kind} by {role} in {self.state}: {refusal}"
            assert self.story.now.sequence == now.sequence
            return
        assert expected is None, f"{kind} by {role} in {self.state} was recorded and {expected} was foretold"
        self._follow(kind)

    def _foretold(
        self, kind: str, role: str, seen: int, right: bool, now: Any, changes: Mapping[str, Any]
    ) -> type[ConsentError] | None:
        """The kind of refusal that must come, or None where it must be recorded."""
        origins, to, roles = EXPECTED[kind]
        if role not in roles:
            return AccessError
        if kind in PASSWORD and not self.own[LOGINS[role]]:
            return AccessError
        if kind in PASSWORD and (not right or self._waits(role)):
            if not self._waits(role):
                self._count_wrong(role)
            return AccessError
        if kind in PASSWORD:
            self.wrong[LOGINS[role]] = 0
        if self.state not in origins:
            return MoveError
        if seen != self.sequences[-1] and kind not in QUIET:
            return None if self._merges(kind, seen, to, now, changes) else ConflictError
        return MoveError if self._day_is_past(kind) else None

    def _day_is_past(self, kind: str) -> bool:
        """Whether ``kind`` is of the day of surgery or of one before, and it is later than that where the clinic is."""
        return kind in {"explained", "confirmed"} and self.clock.now.astimezone(IST).date() > START.date()

    def _merges(self, kind: str, seen: int, to: str | None, now: Any, changes: Mapping[str, Any]) -> bool:
        """Whether an entry made by somebody who has not seen the last ones is put on top of them: where, of what they
        touched, nothing differs by now from what was seen, and nothing of it is changed by this one."""
        if to is not None or kind in {"aftercare-issued"}:
            return False
        since = [told.entry for told in now.history if told.entry.sequence > seen and told.entry.kind not in QUIET]
        then = read_case_state(self.record, self.story.subject, seen)
        if any(entry.body["state"] != then.state for entry in since):
            return False
        touched = {path for entry in since for path in entry.body["touched"] if path != "version"}
        wanted = edited(dict(now.data), changes)
        return not any(_at(then.data, path) != _at(wanted, path) for path in touched)

    def _waits(self, role: str) -> bool:
        return self.wrong[LOGINS[role]] >= 5

    def _count_wrong(self, role: str) -> None:
        self.wrong[LOGINS[role]] += 1
        if self.wrong[LOGINS[role]] >= 5:
            # The wait after the fifth is a minute; the machine lets an hour pass and starts counting where it was.
            self.clock.advance(hours=2)
            self.wrong[LOGINS[role]] = 4

    def _follow(self, kind: str) -> None:
        """What the entry must have done, by the model."""
        held = self.valid[AFTERCARE if self.state == "done" else CONSENT]
        if kind in ALWAYS_VOIDS and held:
            self.valid[AFTERCARE if self.state == "done" else CONSENT] = False
        self.state = EXPECTED[kind][1] or self.state
        if kind == "signed-off":
            self.valid[CONSENT] = True
        if kind == "aftercare-issued":
            self.valid[AFTERCARE] = True
        self._recorded(quiet=kind in QUIET)

    def _recorded(self, quiet: bool = False) -> None:
        now = self.story.now
        self.acknowledged.append(now.sequence)
        if not quiet:
            self.sequences.append(now.sequence)
        assert now.version >= self.version
        self.version = now.version
        self.shown[now.sequence] = (now.state.value, now.version)

    @invariant()
    def the_case_is_where_the_model_says(self) -> None:
        now = self.story.now
        assert now.state == self.state
        for stage, valid in self.valid.items():
            current = [one for one in now.sets if one.stage == stage and one.current]
            assert len(current) == valid

    @invariant()
    def nothing_acknowledged_is_lost(self) -> None:
        assert {entry.sequence for entry in self.story.entries()} >= set(self.acknowledged)

    @invariant()
    def every_earlier_state_can_be_shown(self) -> None:
        for sequence, (state, version) in list(self.shown.items())[-3:]:
            then = read_case_state(self.record, self.story.subject, sequence)
            assert (then.state, then.version) == (state, version)

    @invariant()
    def the_chain_holds(self) -> None:
        assert check_record(self.record).problems == ()


RecordMachine.TestCase.settings = settings(
    max_examples=30,
    stateful_step_count=40,
    deadline=None,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
    phases=[Phase.explicit, Phase.generate],
)
TestRecord = pytest.mark.slow(RecordMachine.TestCase)
