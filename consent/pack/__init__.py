"""The order of work: one case from assessment to a folder of files."""

from consent.pack.compose import BEFORE_SURGERY, FORM, SHEETS, Pack, compose_pack, refuse_incomplete
from consent.pack.data import assessment_data
from consent.pack.day_list import compose_list
from consent.pack.files import Written, write_lists, write_pack

__all__ = [
    "BEFORE_SURGERY",
    "FORM",
    "SHEETS",
    "Pack",
    "Written",
    "assessment_data",
    "compose_list",
    "compose_pack",
    "refuse_incomplete",
    "write_lists",
    "write_pack",
]
