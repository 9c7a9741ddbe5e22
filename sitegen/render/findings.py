"""Findings and faults as lines of text."""

from collections.abc import Iterable

from markupsafe import Markup

from sitegen import addresses
from sitegen.problems import WEIGHTS, Fault
from sitegen.problems import Finding as Found
from sitegen.render.phrases import link
from sitegen.render.pieces import Finding


def in_order(findings: Iterable[Found]) -> tuple[Found, ...]:
    """Decisions first, then by kind and subject."""
    return tuple(sorted(findings, key=lambda found: (WEIGHTS.index(found.weight), found)))


def finding_line(found: Found, page: str) -> Finding:
    """A finding as a line on `page`, with its subject linked to its own page."""
    if not found.address or found.address.partition("#")[0] == page:
        return Finding(found.weight, found.text)
    target = link(found.subject, addresses.relative(found.address, page))
    before, subject, after = found.text.partition(found.subject)
    if subject:
        return Finding(found.weight, Markup("{}{}{}").format(before, target, after))
    return Finding(found.weight, Markup("{}: {}").format(target, found.text))


def fault_line(fault: Fault) -> Finding:
    """A fault of the input as a line."""
    return Finding("fault", fault.sentence())
