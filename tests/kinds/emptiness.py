"""What a reader would call empty on a published page: headings, tables and lists of nothing."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

HEADINGS = {"h1": 1, "h2": 2, "h3": 3, "h4": 4}
NOTHING = re.compile(r"(?i)^(none|nothing to show|no data|n/a|not stated)?[.\s–—-]*$")
"""Texts that say no more than that there is nothing."""
SILENT = {"script", "style", "template"}


@dataclass
class _Block:
    """A heading with what follows it up to the next one."""

    level: int
    title: str = ""
    text: str = ""
    things: int = 0
    """Drawings, rows and entries of lists."""


@dataclass
class _Page(HTMLParser):
    """Headings, tables and lists of a page; text outside headings goes to the last heading."""

    blocks: list[_Block] = field(default_factory=lambda: [_Block(0)])
    tables: list[int] = field(default_factory=list)
    """Rows of the bodies of all tables."""
    lists: list[int] = field(default_factory=list)
    """Entries of all lists that are complete."""
    nav: list[str] = field(default_factory=list)
    words: list[str] = field(default_factory=list)
    none: list[str] = field(default_factory=list)
    """Texts that stand where a table would."""

    def __post_init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self._open: list[str] = []
        self._lists: list[int] = []
        self._none = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag in HEADINGS:
            self.blocks.append(_Block(HEADINGS[tag]))
        if tag == "tbody":
            self.tables.append(0)
        if tag == "tr" and "tbody" in self._open:
            self.tables[-1] += 1
        if tag in {"ul", "ol", "dl"}:
            self._lists.append(0)
        if tag in {"li", "dt"} and self._lists:
            self._lists[-1] += 1
        if tag in {"img", "svg", "tr", "li", "dt"} and "thead" not in self._open:
            self.blocks[-1].things += 1
        if tag == "a" and "nav" in self._open and given.get("href"):
            self.nav.append(str(given["href"]))
        if tag == "p" and given.get("class") == "none":
            self._none = len(self._open) + 1
        if tag not in {"img", "br", "hr", "meta", "link", "input", "col", "wbr"}:
            self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag in self._open:
            while self._open.pop() != tag:
                pass
            if len(self._open) < self._none:
                self._none = 0
        if tag in {"ul", "ol", "dl"} and self._lists:
            self.lists.append(self._lists.pop())

    def handle_data(self, data: str) -> None:
        if SILENT & set(self._open):
            return
        self.words.append(data)
        if HEADINGS.keys() & set(self._open):
            self.blocks[-1].title += data
        elif self._none:
            self.none.append(data)
        elif "footer" not in self._open:
            self.blocks[-1].text += data


@cache
def read(page: Path) -> _Page:
    """A page taken apart."""
    found = _Page()
    found.feed(page.read_text("utf-8"))
    found.close()
    return found


def faults_of(page: Path) -> Iterator[str]:
    """What is empty on a page, a phrase each."""
    found = read(page)
    for index, block in enumerate(found.blocks):
        if not block.level:
            continue
        after = found.blocks[index + 1] if index + 1 < len(found.blocks) else None
        filled = block.things or not NOTHING.match(" ".join(block.text.split()))
        has_parts = after is not None and after.level > block.level
        if not filled and not has_parts:
            yield f"nothing under the heading {' '.join(block.title.split())!r}"
        if not block.title.strip():
            yield "a heading without words"
    for text in found.none:
        if NOTHING.match(text.strip()):
            yield f"{text.strip()!r} stands where a table would"
    if 0 in found.tables:
        yield f"{found.tables.count(0)} tables without rows"
    if 0 in found.lists:
        yield f"{found.lists.count(0)} lists without entries"
    if "None" in found.words or any(re.search(r"\bnan\b", word) for word in found.words):
        yield "a missing number is printed"


def words_of(page: Path) -> str:
    """All that a reader of the page sees as text, in one line."""
    return " ".join(" ".join(read(page).words).split())


def leads_nowhere(page: Path) -> Iterator[str]:
    """Entries of navigation whose page says nothing below its title."""
    for href in read(page).nav:
        path = (page.parent / href.partition("#")[0]).resolve()
        if path.suffix == ".html" and href.partition("#")[0]:
            blocks = read(path).blocks
            if not any(block.things for block in blocks if block.level):
                yield f"{href} leads to an empty page"
