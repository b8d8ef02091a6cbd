"""What goes into the eye and when: drugs, regimens, schedule, clock times, bottles, checks and a calendar file."""

from consent.drops.bottles import Opening, Supply
from consent.drops.calendar_file import VisitEntry, drops_calendar
from consent.drops.caps import last_cap
from consent.drops.cautions import DrugCaution, cautions_of
from consent.drops.checks import Finding, check_drops
from consent.drops.formulary import Drug, DrugClass, Form, read_formulary
from consent.drops.landmarks import Landmark, Moment, moment_of
from consent.drops.orders import Order, Told
from consent.drops.plan import DropPlan, make_plan, order_of, plan_drops, plan_regimen
from consent.drops.proposal import Candidate, Proposal, Reason, propose
from consent.drops.regimens import Ends, Regimen, Start, read_regimens
from consent.drops.schedule import Day, Phase, Row, Span, date_of
from consent.drops.spacing import Waking, even_times
from consent.drops.times import DaySessions, Session

__all__ = [
    "Candidate",
    "Day",
    "DaySessions",
    "DropPlan",
    "Drug",
    "DrugCaution",
    "DrugClass",
    "Ends",
    "Finding",
    "Form",
    "Landmark",
    "Moment",
    "Opening",
    "Order",
    "Phase",
    "Proposal",
    "Reason",
    "Regimen",
    "Row",
    "Session",
    "Span",
    "Start",
    "Supply",
    "Told",
    "VisitEntry",
    "Waking",
    "cautions_of",
    "check_drops",
    "date_of",
    "drops_calendar",
    "even_times",
    "last_cap",
    "make_plan",
    "moment_of",
    "order_of",
    "plan_drops",
    "plan_regimen",
    "propose",
    "read_formulary",
    "read_regimens",
]
