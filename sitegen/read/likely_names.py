"""Names that differ from a known one by what an eye misses: a blank, capitals, an O for a zero."""

from collections.abc import Iterable

_LOOK_ALIKE = str.maketrans({"O": "0", "o": "0", "I": "1", "l": "1", "|": "1"})
_DASHES = str.maketrans(dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2212", "-"))


def slip_of(name: str, known: Iterable[str]) -> str:
    """Why a name is not a known one, as a phrase that begins with a comma; empty: no such slip.

    ', which is "W1" with a blank at its end'.
    """
    names = sorted(known)
    if name in names:
        return ""
    for candidate in names:
        told = _difference(name, candidate)
        if told:
            return f', which is "{candidate}" {told}'
    return ""


def blank_in(name: str) -> str:
    """Which blanks a name has that an id must not have: ', with a blank at its end'."""
    place = _ends(name)
    return f", with a blank {place}" if place and name.strip() else ""


def _ends(name: str) -> str:
    if name.strip() == name:
        return ""
    ends = (name != name.lstrip(), name != name.rstrip())
    return {
        (True, False): "at its beginning",
        (False, True): "at its end",
        (True, True): "at both ends",
    }[ends]


def _difference(name: str, candidate: str) -> str:
    """What makes `name` differ from `candidate`; empty where they are different names."""
    if name.strip() == candidate:
        return f"with a blank {_ends(name)}"
    plain = "".join(name.split()).translate(_DASHES)
    if plain == candidate:
        return "with other dashes" if len(plain) == len(name) else "with a blank inside"
    if plain.casefold() == candidate.casefold():
        return "in other capitals"
    if plain.translate(_LOOK_ALIKE).casefold() == candidate.translate(_LOOK_ALIKE).casefold():
        return "with another letter or digit that looks alike"
    return ""
