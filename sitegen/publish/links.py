"""Every link and anchor of a publication must lead somewhere inside it."""

import posixpath
import re
from collections.abc import Mapping
from dataclasses import dataclass
from html import unescape
from pathlib import Path
from urllib.parse import unquote, urlsplit

ATTRIBUTE = re.compile(r'\s(id|href|src)="([^"]*)"')
"""Pages are this program's own: attributes stand in double quotes, and text has none unescaped."""


@dataclass(frozen=True, order=True)
class BrokenLink:
    """A link of a page that leads nowhere, or out of the publication."""

    page: str
    link: str
    reason: str


@dataclass(frozen=True)
class _Page:
    links: frozenset[str]
    anchors: frozenset[str]


def broken_links(root: Path) -> tuple[BrokenLink, ...]:
    """Check every page below `root`; links to the outside, as notes may have, are not followed."""
    pages = {
        path.relative_to(root).as_posix(): _page(path.read_text("utf-8"))
        for path in sorted(root.rglob("*.html"))
    }
    files = {path.relative_to(root).as_posix() for path in root.rglob("*") if path.is_file()}
    found: dict[tuple[str, str], str] = {}
    broken = set()
    for name, page in pages.items():
        folder = posixpath.dirname(name)
        for link in page.links:
            key = (name if link.startswith("#") else folder, link)
            if key not in found:
                found[key] = _reason_against(name, link, files, pages)
            if found[key]:
                broken.add(BrokenLink(name, link, found[key]))
    return tuple(sorted(broken))


def _page(html: str) -> _Page:
    found = set(ATTRIBUTE.findall(html))
    return _Page(
        links=frozenset(unescape(value) for name, value in found if name != "id"),
        anchors=frozenset(unescape(value) for name, value in found if name == "id"),
    )


def _reason_against(page: str, link: str, files: set[str], pages: Mapping[str, _Page]) -> str:
    parts = urlsplit(link)
    if parts.scheme or parts.netloc:
        return ""
    target = page
    if parts.path:
        target = posixpath.normpath(posixpath.join(posixpath.dirname(page), unquote(parts.path)))
    if target not in files:
        return "no such file"
    anchor = unquote(parts.fragment)
    if anchor and target in pages and anchor not in pages[target].anchors:
        return "no such place on the page"
    return ""
