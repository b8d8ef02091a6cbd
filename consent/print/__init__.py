"""How a composed sheet becomes paper."""

from consent.print.archive import Archive, Attachment
from consent.print.render import to_html, to_pdf
from consent.print.screen import to_screen

__all__ = ["Archive", "Attachment", "to_html", "to_pdf", "to_screen"]
