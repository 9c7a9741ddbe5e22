"""Why a text states no time: the likely cause, and the format that it is probably written in."""

import re
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Literal

from sitegen.read.foreign.time_formats import full_widths, without_short
from sitegen.read.words import quoted

Cause = tuple[str, str, str]
"""What the text is, as a phrase after it; what is expected; the remedy."""

_ISO_WANTED = "a time in ISO 8601, or time_format in mapping.toml"
_SPREADSHEET_DAY_0 = datetime(1899, 12, 30)
"""Serial dates count days from here (ECMA-376, the date system of 1900, quoted from memory)."""
_FIRST_SERIAL, _LAST_SERIAL = 32874, 73415
"""Serial dates of 1990-01-01 and of 2101-01-01."""
_FIRST_S, _LAST_S = 631_152_000, 2_587_680_000
"""Seconds from 1970 to 1990 and to 2052: the numbers of the next clock begin behind them."""
_SINCE_1904_S = 2_082_844_800
"""Seconds from 1904 to 1970, for clocks that count from 1904."""

_MONTHS = "jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec"
_DAYS = (
    (r"\d{4}-\d\d?-\d\d?", "%Y-%m-%d"),
    (r"\d{4}/\d\d?/\d\d?", "%Y/%m/%d"),
    (r"\d{4}\.\d\d?\.\d\d?", "%Y.%m.%d"),
    (r"\d{4}_\d\d?_\d\d?", "%Y_%m_%d"),
    (r"\d{8}", "%Y%m%d"),
    (rf"\d\d?-(?:{_MONTHS})-\d{{4}}", "%d-%b-%Y"),
    (rf"\d\d?\.? (?:{_MONTHS}) \d{{4}}", "%d %b %Y"),
    (rf"(?:{_MONTHS}) \d\d?, \d{{4}}", "%b %d, %Y"),
)
_CLOCKS = (
    (r"\d\d?:\d\d:\d\d [ap]m", "%I:%M:%S %p"),
    (r"\d\d?:\d\d [ap]m", "%I:%M %p"),
    (r"\d\d?:\d\d:\d\d\.\d+", "%H:%M:%S.%f"),
    (r"\d\d?:\d\d:\d\d,\d+", "%H:%M:%S,%f"),
    (r"\d\d?:\d\d:\d\d", "%H:%M:%S"),
    (r"\d\d?:\d\d", "%H:%M"),
    (r"\d\d?-\d\d-\d\d", "%H-%M-%S"),
    (r"\d\d?\.\d\d\.\d\d", "%H.%M.%S"),
    (r"\d{6}", "%H%M%S"),
    (r"\d{4}", "%H%M"),
)
_ASCTIME = "%a %b %d %H:%M:%S %Y"
_BY_NUMBERS = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4}|\d{2})(?!\d)(.*)", re.ASCII | re.S)


Order = Literal["day", "month", "both"] | None
"""What stands first in dates of numbers, by those in which one number is above 12."""


def cause_of(text: str, order: Order, time_format: str | None) -> Cause:
    """Why a text is no time in the format; `order` is that of all texts that are none."""
    day, _, clock = text.partition(" ")
    number = _of_a_number(day if re.fullmatch(r"\d\d?:\d\d(:\d\d)?", clock) else text)
    if number is not None:
        return number
    if time_format is not None and _is_short_of_digits(text, time_format):
        return (
            f"whose digits time_format = {quoted(time_format)} could divide in two ways",
            "all digits of numbers that stand side by side, such as 20260302-093005",
            "Write the times with their leading zeros, or with marks between the numbers.",
        )
    if time_format is not None:
        return (
            f"which time_format = {quoted(time_format)} does not fit",
            "a time in this format",
            _format_remedy(_likely(text), "Correct time_format in mapping.toml, or the times."),
        )
    if re.fullmatch(r"\d{4}-?\d\d-?\d\d", text, re.ASCII):
        remedy = "Map the time of day too, as 'clock', or state time_from = 'modification'."
        return "a day without a time of day", "a time", remedy
    if re.fullmatch(r"\d\d?:\d\d(:\d\d([.,]\d+)?)?(\s*[ap]m)?", text, re.ASCII | re.I):
        return "a time of day without its day", "a time", "Map the day too, as 'date'."
    if _BY_NUMBERS.match(text):
        return _of_numbers(text, order)
    abbreviation = re.search(r"\d\s*([A-Z]{3,5})$", text, re.ASCII)
    if abbreviation is not None and abbreviation.group(1) not in ("AM", "PM"):
        remedy = "Export the times with an offset such as +01:00, or in UTC."
        return "a time with a zone's abbreviation", "an offset such as +01:00", remedy
    likely = _likely(text)
    words = "a time that is not ISO 8601" if likely else _no_time(text)
    remedy = "Correct the times, or state time_format in mapping.toml."
    return words, _ISO_WANTED, _format_remedy(likely, remedy)


def _no_time(text: str) -> str:
    if re.match(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d", text, re.ASCII):
        return "which no calendar or clock has"
    return "which is no time"


def _of_a_number(text: str) -> Cause | None:
    """Of a text that is a number alone."""
    if re.fullmatch(r"\d+([.,]\d+)?", text, re.ASCII) is None:
        return None
    value = float(text.replace(",", "."))
    if _FIRST_SERIAL <= value < _LAST_SERIAL:
        moment = _SPREADSHEET_DAY_0 + timedelta(minutes=round(value * 1440))
        return (
            f"which looks like Excel's serial date of {moment:%Y-%m-%d %H:%M}",
            "a time in text",
            "Format the column as text, such as 2026-04-27 10:30:00, and export it again.",
        )
    for name, unit_s, since in (
        ("seconds since 1970", 1, 0),
        ("milliseconds since 1970", 1000, 0),
        ("seconds since 1904", 1, _SINCE_1904_S),
    ):
        if _FIRST_S <= value / unit_s - since < _LAST_S:
            remedy = "Export the times in ISO 8601, or in seconds since 1970."
            if name == "seconds since 1970":
                remedy = "If it is, state time_format = '%s' in mapping.toml."
            return f"which looks like {name}", _ISO_WANTED, remedy
    return None


def order_of(texts: Sequence[str]) -> Order:
    """Which of day and month comes first in texts such as 13/04/2026; None: they do not show it."""
    found: set[Literal["day", "month"]] = set()
    for text in texts:
        match = _BY_NUMBERS.match(text)
        if match is not None:
            found |= {"day"} if int(match[1]) > 12 else set()
            found |= {"month"} if int(match[3]) > 12 else set()
    return "both" if len(found) > 1 else next(iter(found), None)


def _of_numbers(text: str, order: Order) -> Cause:
    """Of a day, a month and a year in an order that must be declared."""
    match = _BY_NUMBERS.match(text)
    assert match is not None
    _, mark, _, year, rest = match.groups()
    y = "%Y" if len(year) == 4 else "%y"
    formats = [f"{day}{mark}{month}{mark}{y}" for day, month in (("%d", "%m"), ("%m", "%d"))]
    clock = _clock_of(rest) or " %H:%M:%S"
    day_first, month_first = (quoted(one + clock) for one in formats)
    words = ["a year of two digits"] if y == "%y" else []
    if order in ("day", "month"):
        words.append(f"the {order} first, as other times show")
        likely = f"State time_format = {day_first if order == 'day' else month_first}"
    else:
        words.append("day and month that cannot be told apart")
        likely = f"State time_format = {day_first} or {month_first}"
    if order == "both":
        words[-1] = "day and month in both orders"
    return f"a time with {' and '.join(words)}", _ISO_WANTED, f"{likely} in mapping.toml."


def _clock_of(rest: str) -> str | None:
    """The format of what follows a day, with the mark between; None where it is no clock."""
    match = re.fullmatch(r"([ T_,-]{0,2})(.*)", rest, re.S)
    assert match is not None
    between, clock = match.groups()
    for expression, written in _CLOCKS:
        if re.fullmatch(expression, clock, re.ASCII | re.I):
            return between + written
    return None


def _likely(text: str) -> str | None:
    """The format that a text is probably written in, where only one is likely."""
    for expression, written in _DAYS:
        match = re.match(expression, text, re.ASCII | re.I)
        clock = None if match is None else _clock_of(text[match.end() :])
        if clock is not None and _fits(text, written + clock):
            return written + clock
    return _ASCTIME if _fits(text, _ASCTIME) else None


def _fits(text: str, time_format: str) -> bool:
    try:
        datetime.strptime(text, time_format)
    except ValueError:
        return False
    return True


def _is_short_of_digits(text: str, time_format: str) -> bool:
    """Whether a text fits a format only because numbers side by side may lack digits."""
    full = without_short(time_format)
    return _fits(text, full) and full_widths(full).fullmatch(text) is None


def _format_remedy(likely: str | None, otherwise: str) -> str:
    if likely is None:
        return otherwise
    return f"If it is meant so, state time_format = {quoted(likely)} in mapping.toml."
