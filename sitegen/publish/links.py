"""Every link and anchor of a publication must lead somewhere inside it."""

import posixpath
from collections.abc import Mapping
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

LINKING = {"href", "src"}


@dataclass(frozen=True, order=True)
class BrokenLink:
    """A link of a page that leads nowhere, or out of the publication."""

    page: str
    link: str
    reason: str


class _Collector(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.links: list[str] = []
        self.anchors: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if value is None:
                continue
            if name == "id":
                self.anchors.add(value)
            elif name in LINKING and tag != "base":
                self.links.append(value)


def broken_links(root: Path) -> tuple[BrokenLink, ...]:
    """Check all pages below `root`; notes may link to the outside, drawings and parts may not."""
    pages: dict[str, _Collector] = {}
    for path in sorted(root.rglob("*.html")):
        collector = _Collector()
        collector.feed(path.read_text("utf-8"))
        pages[path.relative_to(root).as_posix()] = collector
    files = {path.relative_to(root).as_posix() for path in root.rglob("*") if path.is_file()}
    broken = {
        BrokenLink(page, link, reason)
        for page, collector in pages.items()
        for link in collector.links
        if (reason := _reason_against(page, link, files, pages))
    }
    return tuple(sorted(broken))


def _reason_against(page: str, link: str, files: set[str], pages: Mapping[str, _Collector]) -> str:
    parts = urlsplit(link)
    if parts.scheme or parts.netloc:
        return ""
    target = (
        page
        if not parts.path
        else posixpath.normpath(posixpath.join(posixpath.dirname(page), unquote(parts.path)))
    )
    if target not in files:
        return "no such file"
    anchor = unquote(parts.fragment)
    if anchor and target in pages and anchor not in pages[target].anchors:
        return "no such place on the page"
    return ""
