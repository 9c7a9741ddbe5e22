"""Findings and faults as lines of text."""

import re
from collections.abc import Iterable

from markupsafe import Markup

from sitegen import addresses
from sitegen.problems import WEIGHTS, Fault
from sitegen.problems import Finding as Found
from sitegen.render.phrases import die_name, link
from sitegen.render.pieces import Finding

_DIE = re.compile(r"\((-?\d+), (-?\d+)\)")


def told(text: str) -> str:
    """A finding's or a fault's text with its dies named as everywhere on the pages."""
    return _DIE.sub(lambda found: die_name(int(found[1]), int(found[2])), text)


def in_order(findings: Iterable[Found]) -> tuple[Found, ...]:
    """Decisions first, then by kind and subject."""
    return tuple(sorted(findings, key=lambda found: (WEIGHTS.index(found.weight), found)))


def finding_line(found: Found, page: str) -> Finding:
    """A finding as a line on `page`, with its subject linked to its own page."""
    text = told(found.text)
    if not found.address or found.address.partition("#")[0] == page:
        return Finding(found.weight, text)
    href = addresses.relative(found.address, page)
    start = text.lower().find(found.subject.lower())
    if start < 0:
        return Finding(found.weight, Markup("{}: {}").format(link(found.subject, href), text))
    end = start + len(found.subject)
    subject = link(text[start:end], href)
    return Finding(found.weight, Markup("{}{}{}").format(text[:start], subject, text[end:]))


def fault_line(fault: Fault) -> Finding:
    """A fault of the input as a line."""
    return Finding("fault", told(fault.sentence()))
