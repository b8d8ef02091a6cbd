"""Reads an operating list: each row becomes a case, or is set aside with its reasons, to be mended and read again."""

from consent.case.listing.listing import ListedCase, Listing, ListOptions, SetAsideRow
from consent.case.listing.preview import Preview, PreviewRow, preview, preview_lines
from consent.case.listing.reading import read_list
from consent.case.listing.writing import list_csv, set_aside_csv, template_csv, write_template

__all__ = [
    "ListOptions",
    "ListedCase",
    "Listing",
    "Preview",
    "PreviewRow",
    "SetAsideRow",
    "list_csv",
    "preview",
    "preview_lines",
    "read_list",
    "set_aside_csv",
    "template_csv",
    "write_template",
]
