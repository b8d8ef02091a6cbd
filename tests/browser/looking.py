"""What a page holds that somebody could not use: axe-core's serious findings, and what a finger would miss."""

from __future__ import annotations

from pathlib import Path

import axe_playwright_python
from playwright.sync_api import Page

_AXE = Path(axe_playwright_python.__file__).parent / "axe.min.js"
_RUN = """async () => {
  const found = await axe.run(document, {
    runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    resultTypes: ["violations"],
  });
  return found.violations.filter((one) => ["serious", "critical"].includes(one.impact))
    .map((one) => [one.id, one.nodes.map((node) => node.html.slice(0, 160)).slice(0, 3)]);
}"""
_SMALL = """() => [...document.querySelectorAll(
  "button, .button, input:not([type=hidden]), select, textarea, summary, .pick, nav a, .list > li > a")]
  .filter((one) => one.checkVisibility() && !one.closest(".visually-hidden, .skip"))
  .filter((one) => one.matches(".pick") || !one.closest(".pick"))
  .map((one) => [one.outerHTML.slice(0, 120), one.getBoundingClientRect().height])
  .filter(([, height]) => height > 0 && height < 43.5)"""


def serious(page: Page) -> list[object]:
    """What axe-core finds serious or critical on ``page``, whose browser must be one that bypasses its policy."""
    page.evaluate(_AXE.read_text(encoding="utf-8"))
    found: list[object] = page.evaluate(_RUN)
    return found


def too_small(page: Page) -> list[object]:
    """What is to be touched on ``page`` and is less than 44 pixels high."""
    found: list[object] = page.evaluate(_SMALL)
    return found
