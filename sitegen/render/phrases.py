"""Small pieces of text: links, lists, counts, shares, times, limits."""

import math
import re
from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, timedelta

from markupsafe import Markup, escape

from sitegen import units
from sitegen.render.pieces import Text

SPELLED = (
    *("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"),
    *("eleven", "twelve"),
)


NO_BREAK = "\u00a0"
"""No-break space."""


def link(text: str, href: str) -> Markup:
    """A link as HTML."""
    return Markup('<a href="{}">{}</a>').format(href, text)


def joined(parts: Sequence[Text], last: str = "and") -> Markup:
    """'a', 'a and b', 'a, b and c'."""
    if not parts:
        return Markup("")
    head, tail = parts[:-1], escape(parts[-1])
    return Markup(", ").join(head) + Markup(f" {last} ") + tail if head else tail


def unbroken(text: str) -> str:
    """Text as it was declared, no number of it parted from its unit: '25 °C', '0.1 mA'."""
    return re.sub(r"(?<=\d) (?=[^\d\s]{1,4}(?:\W|$))", NO_BREAK, text)


def several(parts: Iterable[Text], separator: str = ", ") -> Markup:
    """Parts one after the other."""
    return Markup(escape(separator)).join(parts)


def spelled(number: int) -> str:
    """'no', 'one', 'twelve', '13'."""
    return SPELLED[number] if number < len(SPELLED) else number_of(number)


def counted(number: int, singular: str, plural: str | None = None) -> str:
    """'no die', 'one die', 'twelve dies', '13 dies'."""
    return f"{spelled(number)} {singular if number == 1 else plural or singular + 's'}"


def every(number: int, singular: str, plural: str | None = None) -> str:
    """'the one die', 'both dies', 'all three dies'."""
    if number == 1:
        return f"the one {singular}"
    if number == 2:
        return f"both {plural or singular + 's'}"
    return f"all {counted(number, singular, plural)}"


def number_of(number: int) -> str:
    """A count in digits, thousands apart."""
    return f"{number:,}".replace(",", units.THIN)


def capital(text: Text) -> Text:
    """The same with a capital first letter."""
    first = text[:1].upper()
    return Markup(first) + text[1:] if isinstance(text, Markup) else first + text[1:]


percent = units.percent
"""A share of a whole, under the name that sentences and tables use."""


def instant(time: datetime) -> str:
    """'2026-03-02 09:14:05 UTC': to the second, since seconds can decide what was in force."""
    return f"{time.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"


def stretch(start: datetime, end: datetime) -> str:
    """'2026-03-02 09:14:05 to 11:20:00 UTC'; the day is said twice where it changes."""
    first, last = start.astimezone(UTC), end.astimezone(UTC)
    if first == last:
        return instant(start)
    until = f"{last:%H:%M:%S}" if first.date() == last.date() else f"{last:%Y-%m-%d %H:%M:%S}"
    return f"{first:%Y-%m-%d %H:%M:%S} to {until} UTC"


def duration(length: timedelta) -> str:
    """'6 h 30 min', '12 min', '40 s'."""
    seconds = round(abs(length.total_seconds()))
    if seconds < 60:
        return f"{seconds}{units.THIN}s"
    minutes = round(seconds / 60)
    hours, rest = divmod(minutes, 60)
    parts = [f"{hours}{units.THIN}h"] if hours else []
    if rest or not hours:
        parts.append(f"{rest}{units.THIN}min")
    return " ".join(parts)


def day(value: date) -> str:
    """'2026-03-02'."""
    return value.isoformat()


def edition(number: int, issued: date | None) -> str:
    """'1 of 2026-03-03'; without a date '1, not dated'."""
    return f"{number}, not dated" if issued is None else f"{number} of {day(issued)}"


def time_tag(time: datetime) -> Markup:
    """An instant as HTML that a program can read too."""
    stamp = time.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    return Markup('<time datetime="{}">{}</time>').format(stamp, instant(time))


def plain(value: float | None) -> str:
    """A number as a table is sorted by it; empty where there is none."""
    return "" if value is None or not math.isfinite(value) else repr(float(value))


def figure_of(value: float | None, digits: int = 6) -> str:
    """A declared number as it was declared, without needless zeros."""
    if value is None or not math.isfinite(value):
        return units.MISSING
    if value and not 1e-4 <= abs(value) < 1e6:
        return units.number(value, digits)
    return f"{value:.{digits}g}".replace("-", units.MINUS)


def declared_percent(share: float) -> str:
    """A declared share as it was declared: '95 %', '99.9 %', '0.05 %'."""
    return f"{figure_of(share * 100, 12)}{units.THIN}%"


def limits(lower: float | None, upper: float | None, factor: float = 1.0) -> str:
    """'250 to 350', '≥ 250', '≤ 350' or the sign for none, without a unit."""
    if lower is None and upper is None:
        return units.MISSING
    if lower is None:
        return f"≤ {figure_of((upper or 0.0) * factor)}"
    if upper is None:
        return f"≥ {figure_of(lower * factor)}"
    return f"{figure_of(lower * factor)} to {figure_of(upper * factor)}"


def stated(value: float | None, unit: str) -> str:
    """A declared number with its unit in a prefix that suits it, as it was declared: '120 V'."""
    if value is None or not math.isfinite(value):
        return units.MISSING
    factor, symbol = units.shown_unit([value], unit)
    return with_unit(figure_of(value * factor), symbol)


NOT_STATED = "not stated"
"""In place of a number that a record leaves out."""


def if_stated(value: float | None, unit: str) -> str:
    """A declared number with its unit as it was declared, without a prefix, or 'not stated'."""
    if value is None:
        return NOT_STATED
    return with_unit(figure_of(value), unit)


def frequency(frequency_hz: float) -> str:
    """'6.059 GHz', '110 GHz'."""
    factor, symbol = units.shown_unit([frequency_hz], "Hz")
    return f"{frequency_hz * factor:.4g}{units.THIN}{symbol}"


def why(reasons: object, detail: object) -> str:
    """Reasons against a value's standing with their particulars, which may repeat them."""
    told, particulars = str(reasons or ""), str(detail or "")
    if all(reason in particulars for reason in told.split("; ")):
        return particulars
    return "; ".join(part for part in (told, particulars) if part)


def die_name(die_x: int, die_y: int) -> str:
    """'(3, −2)', as on the maps and in the findings; it does not break."""
    return f"({die_x},{NO_BREAK}{die_y})".replace("-", units.MINUS)


def with_unit(text: str, unit: str) -> str:
    """Text of a number with its unit behind it."""
    if not unit or text == units.MISSING:
        return text
    space = "" if unit == "°" else units.THIN
    return f"({text}){space}{unit}" if "±" in text else f"{text}{space}{unit}"
