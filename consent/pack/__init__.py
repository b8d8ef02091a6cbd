"""The order of work: one case from assessment to a folder of files."""

from consent.pack.compose import FORM, SHEETS, Pack, compose_pack, refuse_incomplete
from consent.pack.data import assessment_data
from consent.pack.files import Written, write_pack

__all__ = ["FORM", "SHEETS", "Pack", "Written", "assessment_data", "compose_pack", "refuse_incomplete", "write_pack"]
