"""Links from a page to the paragraph of the method page that explains what it shows."""

from typing import Literal

from markupsafe import Markup

from sitegen import addresses
from sitegen.render.phrases import link

Explained = Literal[
    "not determined",
    "redundancy",
    "reference impedance",
    "comparison bound",
    "uncertainty",
    "budget",
]
ANCHORS: dict[Explained, str] = {
    "not determined": "not-determined",
    "redundancy": "redundancy",
    "reference impedance": "reference-impedance",
    "comparison bound": "comparison-bound",
    "uncertainty": "sweep-uncertainty",
    "budget": "budgets",
}
"""What is explained -> id of its place on the method page."""


def explained(what: Explained, text: str, page: str) -> Markup:
    """A link on `page` from `text` to where the method page explains it."""
    return link(text, addresses.relative(f"{addresses.METHOD}#{ANCHORS[what]}", page))
