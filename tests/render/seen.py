"""What a composed sheet says, in the order of its HTML: what is printed once, and what on each page."""

from __future__ import annotations

from html.parser import HTMLParser

from tests.conftest import Paper

_VOID = {"meta", "br", "link"}
_SILENT = {"style", "title", "head"}


class Seen(HTMLParser):
    """Text of the body, of the running head and of the running foot."""

    def __init__(self) -> None:
        super().__init__()
        self.body: list[str] = []
        self.head: list[str] = []
        self.foot: list[str] = []
        self._stack: list[tuple[str, str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in _VOID:
            self._stack.append((tag, dict(attrs).get("class") or ""))

    def handle_endtag(self, tag: str) -> None:
        while self._stack and self._stack.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        tags = {tag for tag, _ in self._stack}
        classes = {name for _, name in self._stack}
        untitled = {"landscape", "card"} & {word for name in classes for word in name.split()}
        if tags & _SILENT or ("h1" in tags and untitled):
            return
        part = self.head if "running-head" in classes else self.foot if "running-foot" in classes else self.body
        part.append(data)


def seen(paper: Paper) -> Seen:
    """What a reader is to find on ``paper``; a title that is not printed is left out."""
    parser = Seen()
    parser.feed(paper.html)
    return parser
