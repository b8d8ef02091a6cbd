"""What is printed: one module per sheet turns an assessment into ready values and a document tree with anchors."""

from consent.compose import decision, lens_card, not_to_plan, referral_letter
from consent.compose.aloud import aloud
from consent.compose.before_day import before_day
from consent.compose.day_of_surgery import day_of_surgery
from consent.compose.decision import decision_paper
from consent.compose.document import Document, PageCode, Paper
from consent.compose.drop_calendar import drop_calendar
from consent.compose.form import consent_form
from consent.compose.going_home import going_home
from consent.compose.guide import counsellor_guide
from consent.compose.operating_list import missed_visits, operating_list
from consent.compose.page_code import CodeParts, page_code, parse_code, parse_short, with_code
from consent.compose.review_sheet import review_sheet
from consent.compose.review_words import SheetWords
from consent.compose.risk_sheet import risk_sheet
from consent.compose.separate_choices import separate_choices
from consent.compose.voice import Voice, utter

__all__ = [
    "CodeParts",
    "Document",
    "PageCode",
    "Paper",
    "SheetWords",
    "Voice",
    "aloud",
    "before_day",
    "consent_form",
    "counsellor_guide",
    "day_of_surgery",
    "decision",
    "decision_paper",
    "drop_calendar",
    "going_home",
    "lens_card",
    "missed_visits",
    "not_to_plan",
    "operating_list",
    "page_code",
    "parse_code",
    "parse_short",
    "referral_letter",
    "review_sheet",
    "risk_sheet",
    "separate_choices",
    "utter",
    "with_code",
]
