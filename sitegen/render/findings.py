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
    """A finding as a line on `page`: its subject, linked to its own page, and what was found."""
    subject = (
        link(found.subject, addresses.relative(found.address, page))
        if found.address and found.address.partition("#")[0] != page
        else found.subject
    )
    return Finding(found.weight, Markup("{}: {}").format(subject, found.text))


def fault_line(fault: Fault) -> Finding:
    """A fault of the input as a line."""
    return Finding("fault", fault.sentence())
