"""The order of work: one case from assessment to a folder of files."""

from consent.pack.compose import SHEETS, Pack, compose_pack
from consent.pack.data import assessment_data
from consent.pack.files import Written, write_pack

__all__ = ["SHEETS", "Pack", "Written", "assessment_data", "compose_pack", "write_pack"]
