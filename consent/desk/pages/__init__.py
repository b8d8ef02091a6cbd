"""Every page, one module a subject."""

from __future__ import annotations

from importlib import import_module
from typing import Any

_MODULES = (
    "login",
    "home",
    "cases",
    "enter",
    "work",
    "talk",
    "decision",
    "papers",
    "theatre",
    "lists",
    "surgeon",
    "review",
    "answers",
    "figure",
    "drops",
    "day",
    "lead",
    "ledger",
    "settings",
    "audit",
    "phone",
    "done",
    "after",
    "health",
)


def handlers() -> list[Any]:
    """The route handlers of every page."""
    return [handler for name in _MODULES for handler in import_module(f"consent.desk.pages.{name}").HANDLERS]
