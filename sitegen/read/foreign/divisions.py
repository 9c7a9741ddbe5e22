"""How a text is divided among the parts of a pattern: one division after the other, in bounded
time."""

import math
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from sitegen.model.mapping import FIELDS

MOST_DIVISIONS = 2_000
"""That a regular expression may try; a text with more is divided by `divided`."""
MOST_STEPS = 500_000
"""Of `divided`; patterns in which several fields stand twice come near, and lines of thousands of
characters that are all the mark between fields."""

Words = tuple[tuple[str, str], ...]
State = tuple[int, int, Words]
"""Index of the next part, where it begins, and what is known of fields that stand twice."""


@dataclass(frozen=True)
class Part:
    """A piece of a pattern."""

    kind: Literal["literal", "field", "any", "folders"]
    text: str
    """The characters themselves, or the field's name."""


@dataclass(frozen=True)
class Marks:
    """What stands for the marks of numbers, and whether "/" is a character like any other."""

    minus: str | None
    point: str | None
    in_line: bool


@dataclass(frozen=True)
class Division:
    """What `divided` found."""

    ends: tuple[int, ...] | None
    """Where each part ends; None: the text does not fit, or not within the steps."""
    steps: int
    """How many beginnings of a part were tried."""


def expression(part: Part, marks: Marks, lazy: bool = False) -> str:
    """One part as a regular expression without groups. Longer texts are tried first; `lazy`:
    shorter ones."""
    few = "?" if lazy else ""
    char = r"[\s\S]" if marks.in_line else "[^/]"
    if part.kind == "literal":
        return re.escape(part.text)
    if part.kind == "folders":
        return f"(?:[^/]+/)*{few}"
    if part.kind == "any":
        return f"{char}*{few}"
    content = FIELDS[part.text][0]
    if content in ("text", "time"):
        return f"{char}+{few}"
    sign = f"(?:[+-]|{re.escape(marks.minus)})?" if marks.minus else "[+-]?"
    whole = f"{sign}[0-9]+{few}"
    if content == "whole number":
        return whole
    mark = rf"(?:\.|{re.escape(marks.point)})" if marks.point else r"\."
    return f"{whole}(?:{mark}[0-9]+{few})?{few}"


Dividers = tuple[tuple[str, int], ...]


def dividers(parts: Sequence[Part]) -> Dividers:
    """Each literal in small letters, and how many parts of any length it ends; besides it "**/",
    and how often it stands before other parts."""
    ends = [two.text.lower() for one, two in pairwise(parts) if _is_divider(one, two)]
    folders = [part.text for part in parts[:-1] if part.kind == "folders"]
    return tuple(Counter([*ends, *folders]).items())


def _is_divider(one: Part, two: Part) -> bool:
    return one.kind in ("field", "any") and two.kind == "literal"


def most_divisions(ends: Dividers, text: str) -> int:
    """A bound of the divisions of a text that are tried, also of its beginning, capitals or not.

    A literal that stands n times in the text and k times in the pattern, always in order, is placed
    in at most C(n, j) ways for the first j <= k of its places; the greatest of these is taken. For
    n stands the number of its rarest character.
    """
    small, bound = text.lower(), 1
    for literal, wanted in ends:
        if literal == "**/":
            bound *= (small.count("/") + 1) ** wanted
            continue
        there = min(small.count(sign) for sign in literal)
        bound *= math.comb(there, min(wanted, there // 2))
    return bound


def divided(
    parts: Sequence[Part],
    marks: Marks,
    text: str,
    *,
    longest: bool,
    most_steps: int = MOST_STEPS,
) -> Division:
    """The division that gives each part in turn as many characters as possible, or as few.

    No beginning of a part is tried twice with the same words, so that without fields that stand
    twice there are at most (parts + 1)·(characters + 1)² steps.
    """
    singles = [re.compile(expression(part, marks)) for part in parts]
    named = Counter(part.text for part in parts if part.kind == "field")
    twice = frozenset(field for field, count in named.items() if count > 1)

    def after(state: State) -> Iterator[State]:
        index, at, words = state
        if index == len(parts):
            return
        part = parts[index]
        following = parts[index + 1] if index + 1 < len(parts) else None
        ends = _ends(part, following, singles[index], text, at, dict(words).get(part.text))
        for end in ends if longest else reversed(ends):
            is_new = part.kind == "field" and part.text in twice and part.text not in dict(words)
            known = (*words, (part.text, text[at:end])) if is_new else words
            yield index + 1, end, known

    start: State = (0, 0, ())
    tried, steps = {start}, 0
    trail = [(start, after(start))]
    while trail:
        state = next(trail[-1][1], None)
        if state is None:
            trail.pop()
            continue
        steps += 1
        if state[:2] == (len(parts), len(text)):
            return Division((*(one[1] for one, _ in trail[1:]), len(text)), steps)
        if steps >= most_steps:
            break
        if state not in tried:
            tried.add(state)
            trail.append((state, after(state)))
    return Division(None, steps)


def _ends(
    part: Part,
    following: Part | None,
    single: re.Pattern[str],
    text: str,
    at: int,
    word: str | None,
) -> list[int]:
    """Where a part that begins at a place can end, the longest first; `word`: what the same field
    says before."""
    if part.kind == "literal" or (part.kind == "field" and word is not None):
        fixed = part.text if word is None else word
        return [at + len(fixed)] if text.startswith(fixed, at) else []
    most = single.match(text, at)
    if most is None:
        return []
    ends = range(most.end(), at - 1, -1)
    if following is None:
        ends = range(len(text), len(text) - 1, -1) if most.end() == len(text) else range(0)
    literal = following.text if following is not None and following.kind == "literal" else ""
    is_plain = part.kind == "any" or (
        part.kind == "field" and FIELDS[part.text][0] in ("text", "time")
    )
    least = at if part.kind == "any" else at + 1
    return [
        end
        for end in ends
        if text.startswith(literal, end)
        and (end >= least if is_plain else single.fullmatch(text, at, end) is not None)
    ]
