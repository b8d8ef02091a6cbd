"""How a composed sheet becomes paper."""

from consent.print.render import to_html, to_pdf

__all__ = ["to_html", "to_pdf"]
