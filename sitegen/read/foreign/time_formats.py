"""Formats of times: directives that stand for others, and digits that two readings could divide."""

import re
from collections.abc import Iterator, Mapping
from functools import lru_cache

_SHORT: Mapping[str, str] = {
    "%T": "%H:%M:%S",
    "%R": "%H:%M",
    "%r": "%I:%M:%S %p",
    "%D": "%m/%d/%y",
    "%F": "%Y-%m-%d",
    "%h": "%b",
    "%e": "%d",
    "%n": " ",
    "%t": " ",
}
"""Directives of POSIX strptime (IEEE Std 1003.1) that stand for others."""
_WIDTHS: Mapping[str, int] = {
    "%Y": 4, "%j": 3, "%y": 2, "%m": 2, "%d": 2, "%H": 2, "%I": 2, "%M": 2, "%S": 2, "%f": 6
}  # fmt: skip
"""Digits of the directives that are numbers, written in full."""


def without_short(time_format: str) -> str:
    """A format in which no directive stands for others."""
    return re.sub("%.", lambda match: _SHORT.get(match.group(), match.group()), time_format)


@lru_cache(maxsize=64)
def full_widths(time_format: str) -> re.Pattern[str]:
    """What a text must match so that its digits can be divided in one way only.

    Numbers that stand side by side without a mark between have all their digits: `%H%M%S` reads
    104000 and not 10405, which strptime takes as 10:40:05 and could be 1:04:05. `time_format` is
    one without short directives. Letters are not looked at.
    """
    tokens = re.findall(r"%.|\s+|[^%\s]", time_format, re.DOTALL)
    return re.compile("".join(_expressions(tokens)), re.IGNORECASE | re.ASCII | re.DOTALL)


def _expressions(tokens: list[str]) -> Iterator[str]:
    for index, token in enumerate(tokens):
        before = index > 0 and _is_digits(tokens[index - 1])
        behind = index + 1 < len(tokens) and _is_digits(tokens[index + 1])
        if token in _WIDTHS:
            yield _number(token, before, behind)
        elif token == "%%":
            yield "%"
        elif token.isspace():
            yield r"\s+"
        else:
            yield ".+?" if token.startswith("%") else re.escape(token)


def _is_digits(token: str) -> bool:
    return token in _WIDTHS or token.isdecimal()


def _number(token: str, before: bool, behind: bool) -> str:
    """A number alone may have fewer digits; a fraction that ends the digits may have more."""
    width = _WIDTHS[token]
    if token == "%f":
        return rf"\d{{{width}}}" if behind else r"\d+"
    if not (before or behind):
        return rf"\s?\d{{1,{width}}}"
    padded = "|[ ][1-9]" if token == "%d" else ""
    return rf"(?:\d{{{width}}}{padded})"
