"""How a composed sheet becomes paper."""

from consent.print.archive import Archive, Attachment
from consent.print.render import to_html, to_pdf

__all__ = ["Archive", "Attachment", "to_html", "to_pdf"]
