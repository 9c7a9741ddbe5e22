"""Patterns of names and of lines: what a text says of each field, and why it does not fit.

`{field}` is what is said of a field, `*` anything without "/", `**/` any folders, also none; every
other character is itself, with its capitals; a letter with its accent is the same as one sign or as
two (Unicode's form NFC is compared). A pattern never guesses: where a name can be split in
two ways that say different things, `is_ambiguous` tells it.
"""

import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from sitegen.model.mapping import FIELDS
from sitegen.read.foreign.divisions import (
    MOST_DIVISIONS,
    Dividers,
    Marks,
    Part,
    divided,
    dividers,
    expression,
    most_divisions,
)
from sitegen.read.words import counted, nearest, quoted

_MOST_STEPS = 20_000
"""Of the search for a second reading; a name that needs more counts as ambiguous."""


class BadPattern(ValueError):
    """A pattern that cannot be used; its text is a phrase that says what was found."""


@dataclass(frozen=True)
class Pattern:
    """A pattern that is ready for use; see `compiled`."""

    text: str
    fields: tuple[str, ...]
    """Each once, in the order in which they come."""
    parts: tuple[Part, ...]
    marks: Marks
    dividers: Dividers
    """See `divisions.dividers`."""
    longest: re.Pattern[str]
    """Gives each part in turn as many characters as possible."""
    shortest: re.Pattern[str]
    """Gives each part in turn as few as possible."""

    @property
    def in_line(self) -> bool:
        return self.marks.in_line


def compiled(
    text: str, minus: str | None = None, point: str | None = None, *, in_line: bool = False
) -> Pattern:
    """A pattern made ready. `minus` and `point` stand for these marks in numbers, besides "-" and
    "."; `in_line`: it is compared with a line, where "/" is a character like any other and `**/`
    has no meaning.

    Raises BadPattern.
    """
    _refuse_bad_marks(minus, point)
    marks = Marks(minus and _composed(minus), point and _composed(point), in_line)
    parts = tuple(_parts_of(_composed(text), in_line))
    fields = tuple(dict.fromkeys(part.text for part in parts if part.kind == "field"))
    for one, next_one in pairwise(parts):
        kinds = {one.kind, next_one.kind}
        if kinds == {"field"}:
            raise BadPattern(
                f'"{{{one.text}}}{{{next_one.text}}}", where nothing says where the first ends'
            )
        if kinds == {"field", "any"}:
            field = one.text if one.kind == "field" else next_one.text
            raise BadPattern(f'"*" beside {{{field}}}, where nothing says where the field ends')
    return Pattern(
        text,
        fields,
        parts,
        marks,
        dividers(parts),
        re.compile(_whole(parts, marks, lazy=False)),
        re.compile(_whole(parts, marks, lazy=True)),
    )


def said(pattern: Pattern, text: str) -> tuple[tuple[str, str], ...] | None:
    """What a whole text says, as (field, text) in the text's own words, in NFC; None where it does
    not fit.

    Of several readings the one that gives the first parts most; see `is_ambiguous`.
    """
    reading = _reading(pattern, _composed(text), longest=True)
    return None if reading is None else tuple(reading[1].items())


def is_ambiguous(pattern: Pattern, text: str) -> bool:
    """Whether another split of the text says something else of a field. Texts that do not fit are
    not ambiguous.

    The two extreme splits are compared: all others lie between them in the order of the parts'
    lengths. Only where they differ in what is no field are all splits tried, up to a bound.
    """
    text = _composed(text)
    most = _reading(pattern, text, longest=True)
    if most is None:
        return False
    least = _reading(pattern, text, longest=False)
    if most == least:
        return False
    if least is None or most[1] != least[1]:
        return True
    return _has_second_reading(pattern, text)


def near_miss(pattern: Pattern, text: str) -> str:
    """Why a text does not fit, as a phrase."""
    text = _composed(text)
    if most_divisions(pattern.dividers, text) > MOST_DIVISIONS:
        known = _other_end(pattern, text) or _other_depth(pattern, text)
        return known or "no way to divide it as the pattern does"
    for reason in (_other_capitals, _other_blanks, _other_end, _two_words, _no_number, _empty):
        phrase = reason(pattern, text)
        if phrase is not None:
            return phrase
    return _other_depth(pattern, text) or _where_it_stops(pattern, text)


Reading = tuple[tuple[object, ...], dict[str, str]]
"""Where the parts lie, and what each field says."""


def _reading(pattern: Pattern, text: str, *, longest: bool) -> Reading | None:
    """The extreme split that gives the first parts most, or least; None where none fits.

    A regular expression tries one division after the other, those of a beginning again and again;
    where that can be very many, `divided` searches.
    """
    first, last = pattern.parts[0], pattern.parts[-1]
    if first.kind == "literal" and not text.startswith(first.text):
        return None
    if last.kind == "literal" and not text.endswith(last.text):
        return None
    if most_divisions(pattern.dividers, text) <= MOST_DIVISIONS:
        match = (pattern.longest if longest else pattern.shortest).fullmatch(text)
        return None if match is None else (match.regs, match.groupdict())
    ends = divided(pattern.parts, pattern.marks, text, longest=longest).ends
    if ends is None:
        return None
    spans = zip(pattern.parts, (0, *ends), ends, strict=False)
    return ends, {part.text: text[at:end] for part, at, end in spans if part.kind == "field"}


def _composed(text: str) -> str:
    """A text in NFC: file systems and editors write a letter with its accent as one sign or as two
    (Unicode Standard Annex 15, quoted from memory)."""
    return text if text.isascii() else unicodedata.normalize("NFC", text)


def _refuse_bad_marks(minus: str | None, point: str | None) -> None:
    for word, mark in (("minus", minus), ("point", point)):
        if mark is not None and (mark == "" or re.search(r"[0-9/+]", mark)):
            raise BadPattern(f"{quoted(mark)} as {word}")
    if minus is not None and minus in (point, "."):
        raise BadPattern(f"{quoted(minus)} as minus and as point")
    if point == "-":
        raise BadPattern(f"{quoted(point)} as point")


def _parts_of(text: str, in_line: bool) -> Iterator[Part]:
    """The pieces of a pattern's text. Raises BadPattern."""
    if not text:
        raise BadPattern("nothing")
    for piece in re.split(r"(\{[^{}]*\}|\*+/?)", text):
        if piece.startswith("{") and piece.endswith("}"):
            yield _field(piece[1:-1])
        elif "{" in piece or "}" in piece:
            mark = "{" if "{" in piece else "}"
            raise BadPattern(f'"{mark}" without its other brace in {quoted(text)}')
        elif piece in ("*", "*/"):
            yield Part("any", "*")
            if piece == "*/":
                yield Part("literal", "/")
        elif piece.startswith("*"):
            yield _folders(piece, in_line)
        elif piece:
            yield Part("literal", piece)
    if re.search(r"[^/]\*\*/", text):
        raise BadPattern('"**/" in the middle of a name')


def _field(name: str) -> Part:
    if name not in FIELDS:
        meant = nearest(name, FIELDS)
        told = f", which is near {{{meant}}}" if meant else ""
        raise BadPattern(f"{quoted('{' + name + '}')}, which is no field{told}")
    return Part("field", name)


def _folders(piece: str, in_line: bool) -> Part:
    if piece != "**/":
        raise BadPattern(f'{quoted(piece)}; "**" is only used as "**/"')
    if in_line:
        raise BadPattern('"**/" in a line, which has no folders')
    return Part("folders", "**/")


def _whole(parts: Sequence[Part], marks: Marks, lazy: bool) -> str:
    """All parts as one regular expression, with a group for each that varies."""
    written = []
    seen: set[str] = set()
    for part in parts:
        inside = expression(part, marks, lazy)
        if part.kind == "literal":
            written.append(inside)
        elif part.kind != "field":
            written.append(f"({inside})")
        elif part.text in seen:
            written.append(f"(?P={part.text})")
        else:
            seen.add(part.text)
            written.append(f"(?P<{part.text}>{inside})")
    return "".join(written)


def _has_second_reading(pattern: Pattern, text: str) -> bool:
    """Whether two splits say different things; True where that is not found within the bound."""
    single = [re.compile(expression(part, pattern.marks)) for part in pattern.parts]
    start: tuple[int, int, tuple[tuple[str, str], ...]] = (0, 0, ())
    visited, waiting = {start}, [start]
    readings = set()
    while waiting:
        index, at, known = waiting.pop()
        if index == len(pattern.parts):
            if at == len(text):
                readings.add(known)
            if len(readings) > 1:
                return True
            continue
        part = pattern.parts[index]
        for end in range(at, len(text) + 1):
            if single[index].fullmatch(text, at, end) is None:
                continue
            then = known
            if part.kind == "field":
                word = text[at:end]
                if dict(known).get(part.text, word) != word:
                    continue
                then = (*known, (part.text, word))
            state = (index + 1, end, then)
            if state not in visited:
                visited.add(state)
                waiting.append(state)
        if len(visited) > _MOST_STEPS:
            return True
    return False


@lru_cache(maxsize=64)
def _loose(pattern: Pattern, *, flags: int = 0, fields: str | None = None) -> re.Pattern[str]:
    """The pattern with a group of its own for every part; `fields`: what all fields may be."""
    inside = [
        fields if fields and part.kind == "field" else expression(part, pattern.marks)
        for part in pattern.parts
    ]
    return re.compile("".join(f"({one})" for one in inside), flags)


def _other_capitals(pattern: Pattern, text: str) -> str | None:
    """Of a text that fits but for capitals."""
    match = _loose(pattern, flags=re.IGNORECASE).fullmatch(text)
    if match is None:
        return None
    for part, word in zip(pattern.parts, match.groups(), strict=True):
        if part.kind == "literal" and part.text != word:
            found, wanted = quoted(word.strip("/")), quoted(part.text.strip("/"))
            return f"{found}, where the pattern has {wanted}: capitals differ"
    return None


def _other_blanks(pattern: Pattern, text: str) -> str | None:
    """Of a text that fits without the blanks at its ends, or at the ends of its folders."""
    blanks = r"^\s+|\s+$" if pattern.in_line else r"(?:^|(?<=/))\s+|\s+(?=[/.]|$)"
    trimmed = re.sub(blanks, "", text)
    if trimmed == text or pattern.longest.fullmatch(trimmed) is None:
        return None
    where = "the line" if pattern.in_line else "a name"
    return f"a blank at an end of {where}, which the pattern does not have"


def _other_end(pattern: Pattern, text: str) -> str | None:
    """Of a text whose end is not the pattern's."""
    last = pattern.parts[-1]
    end = last.text.rpartition("/")[2]
    if last.kind != "literal" or text.endswith(end):
        return None
    return f"an end other than {quoted(end)}"


def _two_words(pattern: Pattern, text: str) -> str | None:
    """Of a text that fits, but says two things of a field that stands twice."""
    match = _loose(pattern).fullmatch(text)
    if match is None:
        return None
    first: dict[str, str] = {}
    for part, word in zip(pattern.parts, match.groups(), strict=True):
        if part.kind == "field" and first.setdefault(part.text, word) != word:
            earlier = first[part.text]
            return f"{quoted(earlier)} and {quoted(word)}, where {{{part.text}}} stands twice"
    return None


def _no_number(pattern: Pattern, text: str) -> str | None:
    """Of a text that fits but for what is no number."""
    char = r"[\s\S]" if pattern.in_line else "[^/]"
    match = _loose(pattern, fields=f"{char}+").fullmatch(text)
    if match is None:
        return None
    for part, word in zip(pattern.parts, match.groups(), strict=True):
        if part.kind != "field":
            continue
        if re.fullmatch(expression(part, pattern.marks), word) is None:
            return f"{quoted(word)} where {_wanted(part)}"
    return None


def _empty(pattern: Pattern, text: str) -> str | None:
    """Of a text that fits, but says nothing of a field."""
    char = r"[\s\S]" if pattern.in_line else "[^/]"
    match = _loose(pattern, fields=f"{char}*").fullmatch(text)
    if match is None:
        return None
    for part, word in zip(pattern.parts, match.groups(), strict=True):
        if part.kind == "field" and not word:
            return f"nothing where {_wanted(part)}"
    return None


def _wanted(part: Part) -> str:
    content = FIELDS[part.text][0]
    noun = {"text": "text", "time": "a time"}.get(content, f"a {content}")
    return f"{{{part.text}}} should be {noun}"


def _other_depth(pattern: Pattern, text: str) -> str | None:
    """Of a path that lies in more or fewer folders."""
    found, wanted = text.count("/"), pattern.text.count("/")
    if found == wanted or pattern.in_line or any(p.kind == "folders" for p in pattern.parts):
        return None
    return f"a path of {counted(found, 'folder')}, where the pattern has {wanted}"


def _where_it_stops(pattern: Pattern, text: str) -> str:
    """Up to where the parts fit, one after the other, and what is missing then."""
    written = ""
    before = ""
    for part in pattern.parts:
        is_number = part.kind == "field" and FIELDS[part.text][0] in ("number", "whole number")
        written += f"({expression(part, pattern.marks, lazy=not is_number)})"
        match = re.match(written, text)
        if match is None:
            after = f" after {quoted(before)}" if before else " at its start"
            if part.kind == "literal":
                return f"nothing like {quoted(part.text)}{after}"
            return f"nothing{after} where {_wanted(part)}"
        before = match.group() if is_number or part.kind == "literal" else before
    return "no way to divide it as the pattern does"
