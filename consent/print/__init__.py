"""How a composed sheet becomes paper."""

from consent.print.archive import Archive, Attachment
from consent.print.machine_voice import has_voice, need_voice, read_aloud
from consent.print.render import to_html, to_pdf, warm_up
from consent.print.screen import to_screen

__all__ = [
    "Archive",
    "Attachment",
    "has_voice",
    "need_voice",
    "read_aloud",
    "to_html",
    "to_pdf",
    "to_screen",
    "warm_up",
]
