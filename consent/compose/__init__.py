"""What is printed: one module per sheet turns an assessment into ready values and a document tree with anchors."""

from consent.compose.decision import decision_paper
from consent.compose.document import Document, Paper
from consent.compose.drop_calendar import drop_calendar
from consent.compose.form import consent_form
from consent.compose.going_home import going_home
from consent.compose.guide import counsellor_guide
from consent.compose.review_sheet import SheetWords, review_sheet
from consent.compose.voice import Voice, utter

__all__ = [
    "Document",
    "Paper",
    "SheetWords",
    "Voice",
    "consent_form",
    "counsellor_guide",
    "decision_paper",
    "drop_calendar",
    "going_home",
    "review_sheet",
    "utter",
]
