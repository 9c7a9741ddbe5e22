"""Entries of records that are still to be filled in, marked wherever a page prints them."""

import re

from sitegen.model.base import BLANK

_WORDS = "to fill in"
_MARKED = f'<span class="blank">{_WORDS}</span>'
_PLACES = re.compile(f"(<(title|script|style|svg)\\b.*?</\\2>)|(<[^>]*>)|{BLANK}", re.DOTALL)


def with_marked_blanks(page: str) -> str:
    """A page whose blanks are marked; in titles and drawings they are words alone."""
    return _PLACES.sub(_marked, page) if BLANK in page else page


def _marked(found: re.Match[str]) -> str:
    whole, tag = found[1], found[3]
    if whole is not None:
        return whole.replace(BLANK, _WORDS)
    return _MARKED if tag is None else tag.replace(BLANK, _WORDS)
