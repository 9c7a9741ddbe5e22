"""What was found, as words for a sentence: short, printable, in the file's own notation."""

import difflib
from collections.abc import Iterable
from datetime import date, datetime, time

_LONGEST = 60


def printable(text: str) -> str:
    """The text with each character that cannot be printed replaced, shortened when long."""
    clean = "".join(char if char.isprintable() else "�" for char in text)
    return clean if len(clean) <= _LONGEST else clean[: _LONGEST - 1] + "…"


def quoted(text: str) -> str:
    """The text in double quotes."""
    return f'"{printable(text)}"'


def shown(value: object) -> str:
    """A value of a TOML file or of a table, as its author wrote it."""
    match value:
        case str():
            return quoted(value)
        case bool():
            return "true" if value else "false"
        case datetime() | date() | time():
            return value.isoformat()
        case float():
            return f"{value:g}"
        case int():
            return str(value) if abs(value) < 10**20 else "an integer of more than 20 digits"
        case list() | tuple():
            return f"a list of {counted(len(value), 'entry', 'entries')}"
        case dict():
            return "a table of keys"
        case _:
            return printable(str(value))


def counted(number: int, one: str, many: str | None = None) -> str:
    """'1 row', '2 rows', '0 rows'."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def frequency(frequency_hz: float) -> str:
    """A frequency with all its digits: '110 GHz', '10.000001 MHz'."""
    for factor, unit in ((1e9, "GHz"), (1e6, "MHz"), (1e3, "kHz")):
        if frequency_hz >= factor:
            return f"{frequency_hz / factor:.10g} {unit}"
    return f"{frequency_hz:.10g} Hz"


def choices(names: Iterable[str]) -> str:
    """'"a", "b" or "c"'; at most twelve, in the order given."""
    listed = [quoted(name) for name in names]
    if not listed:
        return "none, as none is declared"
    if len(listed) > 12:
        return ", ".join(listed[:12]) + f" or one of {len(listed) - 12} more"
    return listed[0] if len(listed) == 1 else ", ".join(listed[:-1]) + " or " + listed[-1]


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name that was probably meant, if one is close."""
    by_lower = {candidate.lower(): candidate for candidate in sorted(known)}
    close = difflib.get_close_matches(name.lower(), list(by_lower), n=1, cutoff=0.7)
    return by_lower[close[0]] if close else None


def correction(name: str, known: Iterable[str], what: str) -> str:
    """The remedy for an unknown name: the nearest known one, or where to declare it."""
    meant = nearest(name, known)
    return f"Write {quoted(meant)} if that is meant." if meant else what
