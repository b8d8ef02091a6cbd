"""One invented patient from opening to closing, as the clinic would enter it, step by step."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from consent.case import Case
from consent.record.accounts import THIS_MACHINE, Account, make_account
from consent.record.act import Act
from consent.record.cases import Recorded, read_case_state
from consent.record.entering import enter, open_new
from consent.record.ledger import Entry
from consent.record.moves import Role
from consent.record.place import Record
from consent.record.state import CONSENT, CaseState, data_of
from tests.editing import case_maker, edited

IST = dt.timezone(dt.timedelta(hours=5, minutes=30))
NOON = dt.datetime(2027, 2, 24, 12, 0, tzinfo=IST)
"""On the day on which the ordinary case is operated on."""
BEFORE_THE_RECORD = ("figures_accepted", "talk")
"""What the shipped example holds already and the story enters step by step."""
PASSWORDS = {
    "asha": "kiln path lamp river",
    "meera": "seven brass bells ring",
    "tara": "green gate three steps",
    "lila": "monsoon roof blue tile",
    "noor": "paper boat slow water",
}


@dataclass(frozen=True)
class Staff:
    """The people of the invented clinic."""

    lead: Account
    surgeon: Account
    counsellor: Account
    theatre: Account
    auditor: Account


def make_staff(record: Record) -> Staff:
    """Accounts for the five roles, each with a password of its owner's own."""
    from consent.record.accounts import set_password

    lead = make_account(record, THIS_MACHINE, "lila", "Lila Invented", (Role.LEAD,), PASSWORDS["lila"])

    def made(login: str, name: str, role: Role, registration: str | None = None) -> Account:
        account = make_account(
            record, lead.person, login, name, (role,), "a first word given by the lead", registration
        )
        set_password(record, account.person, login, PASSWORDS[login])
        return account

    return Staff(
        lead,
        made("asha", "Dr Asha Invented", Role.SURGEON, "INVENTED-0002"),
        made("meera", "M. Example", Role.COUNSELLOR),
        made("tara", "T. Example", Role.THEATRE),
        made("noor", "N. Example", Role.AUDITOR),
    )


@dataclass
class Story:
    """The case of one patient in ``record``; each method is one thing somebody enters."""

    record: Record
    staff: Staff
    subject: str = ""

    @property
    def now(self) -> CaseState:
        return read_case_state(self.record, self.subject)

    def open(self, case: Case | None = None) -> Recorded:
        """The counsellor opens the shipped ordinary case without its talk and without accepted figures."""
        whole = data_of(case or case_maker()())
        bare = {key: value for key, value in whole.items() if key not in BEFORE_THE_RECORD}
        from consent.record.state import case_of

        recorded = open_new(self.record, self.staff.counsellor, case_of(bare))
        self.subject = recorded.case.subject
        return recorded

    def enter(
        self,
        who: Account,
        kind: str,
        changes: Mapping[str, Any] | None = None,
        reason: str | None = None,
        details: Mapping[str, Any] | None = None,
        password: str | None = None,
        seen: int | None = None,
    ) -> Recorded:
        """``who`` enters ``kind`` with dotted ``changes`` of the case as it is, having seen all of it."""
        case = self.now
        data = None if changes is None else edited(dict(case.data), changes)
        act = Act(kind, case.sequence if seen is None else seen, data, reason, details or {})
        return enter(self.record, who, self.subject, act, password)

    def explain(self, at: dt.datetime, **changes: Any) -> Recorded:
        """The counsellor holds the talk about the plan as it is; the patient says everything back and agrees."""
        plan = self.now.data["plan"]
        talk = dict(data_of(case_maker()())["talk"])
        talk |= {"at": at.isoformat(), "by": self.staff.counsellor.name}
        talk["told"] = {
            **talk["told"],
            "lens_design": plan["lens"]["design"],
            "lens_power_d": plan["lens"]["power_d"],
            "date": plan["date"],
        }
        return self.enter(self.staff.counsellor, "explained", {"talk": talk, **changes})

    def accept_figures(self) -> Recorded:
        surgeon = self.staff.surgeon
        accepted = {
            "by": surgeon.name,
            "registration": surgeon.registration,
            "at": self.record.clock().astimezone(IST).isoformat(),
        }
        return self.enter(surgeon, "figures-accepted", {"figures_accepted": accepted})

    def sign_off(self, password: str = PASSWORDS["asha"]) -> Recorded:
        return self.enter(self.staff.surgeon, "signed-off", password=password)

    def consent(self, **details: str) -> Recorded:
        """The patient signs the paper that holds, with a thumb, before a witness."""
        case = self.now
        papers = case.sealed(CONSENT)
        assert papers is not None
        said = {"by": case.case.patient.name, "how": "thumb impression", "witness": "W. Neighbour", "code": papers.code}
        return self.enter(self.staff.counsellor, "consented", details={**said, **details})

    def confirm(self, at: dt.datetime) -> Recorded:
        asked = ("condition", "plan", "surgeon", "information", "mind")
        second: dict[str, Any] = {f"{name}_changed": "no" for name in asked}
        second |= {"at": at.isoformat(), "by": "T. Example", "still_wishes": "yes", "too_long_ago": "no"}
        return self.enter(self.staff.theatre, "confirmed", {"confirmation": second})

    def answer_all(self, why: str = "Looked at and accepted for this patient.") -> None:
        """The surgeon answers every ask that stands open, each with the same reason."""
        from consent.review import Severity, assess

        surgeon = self.staff.surgeon
        case = self.now.case
        waiting = [
            p for p in assess(case, self.record.clinic).points if p.severity is Severity.ASK and p.answer is None
        ]
        at = self.record.clock().astimezone(IST).isoformat()
        answers = [
            {
                "point": p.id,
                "key": p.key,
                "by": surgeon.name,
                "registration": surgeon.registration,
                "at": at,
                "why": why,
            }
            for p in waiting
        ]
        if answers:
            self.enter(surgeon, "answered", {"answers": [*self.now.data.get("answers", []), *answers]})

    def operate(self, **done: Any) -> Recorded:
        """What was done, by default just what was planned."""
        plan = self.now.data["plan"]
        whole = {"as_planned": "yes", "side": plan["side"], "by": self.staff.surgeon.name, "lens": plan["lens"]}
        whole |= {"capsule_torn": "no", "vitreous_lost": "no", "piece_retained": "no", "no_lens": "no", "stitches": 0}
        return self.enter(self.staff.surgeon, "done", {"done": {**whole, **done}})

    def issue_aftercare(self) -> Recorded:
        return self.enter(self.staff.surgeon, "aftercare-issued", password=PASSWORDS["asha"])

    def change_drops(self, on: dt.date, regimen: str, why: str) -> Recorded:
        surgeon = self.staff.surgeon
        change = {"on": on.isoformat(), "regimen": regimen, "by": surgeon.name, "why": why}
        changes = [*self.now.data.get("drop_changes", []), {**change, "registration": surgeon.registration}]
        return self.enter(surgeon, "drops-changed", {"drop_changes": changes})

    def entries(self) -> list[Entry]:
        return [told.entry for told in self.now.history]
