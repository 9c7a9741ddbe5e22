"""Drawings on pages: as pictures beside the text, or inline where their links are needed."""

import re

from markupsafe import Markup

from sitegen import addresses
from sitegen.model.results import Drawing
from sitegen.render.pieces import Figure, InlineFigure, Link, Text

_BEFORE_SVG = re.compile(r"\A.*?(?=<svg[\s>])", re.DOTALL)
_STYLE = re.compile(r"<style\b.*?</style>", re.DOTALL)


BROAD_PX = 720
"""A drawing of this width or more stands alone in its row."""


def figure(
    drawing: Drawing,
    page: str,
    caption: Text | None = None,
    behind: Link | None = None,
    leads_to: str = "",
    anchor: str = "",
) -> Figure:
    """A drawing as a picture on `page`; it leads to itself or to the address `leads_to`."""
    return Figure(
        src=addresses.relative(drawing.address, page),
        alt=f"{drawing.title}. {drawing.description}",
        caption=drawing.title if caption is None else caption,
        width=drawing.width,
        height=drawing.height,
        broad=drawing.width >= BROAD_PX,
        href=addresses.relative(leads_to, page) if leads_to else "",
        behind=behind,
        id=anchor,
    )


def inline_figure(drawing: Drawing, caption: Text, behind: Link | None = None) -> InlineFigure:
    """A drawing that stands inside its page, because parts of it are links."""
    return InlineFigure(inline(drawing), drawing.title, caption, behind)


def inline(drawing: Drawing) -> Markup:
    """A drawing's SVG to stand inside a page.

    What stands before its root element goes, and so does its own style: the page's style sheet
    has the same rules, and the page's content policy refuses any other.
    """
    return Markup(_STYLE.sub("", _BEFORE_SVG.sub("", drawing.svg, count=1)))
