"""Times as a station writes them, to instants: format, zone, and the hours that summer time moves.

Nothing is guessed: what could mean two times, or none, is refused, and the refusal names the likely
cause (`time_causes`).
"""

import re
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from functools import lru_cache
from typing import Literal
from zoneinfo import ZoneInfo, available_timezones

import numpy as np
import numpy.typing as npt

from sitegen.model.arrays import BoolArray
from sitegen.read.foreign.model import Refusal
from sitegen.read.foreign.time_causes import cause_of, order_of
from sitegen.read.foreign.time_formats import full_widths, without_short
from sitegen.read.words import nearest, quoted

Micros = npt.NDArray[np.int64]
"""Microseconds since 1970 UTC."""

EARLIEST_YEAR, LATEST_YEAR = 1990, 2100
"""Clocks that were never set start in 1970, 1980 or 1904 (common practice)."""

_EPOCH = datetime(1970, 1, 1)
_MICROSECOND = timedelta(microseconds=1)
_QUARTER_US = 900_000_000
"""Since 1990 every zone changes its offset at a full quarter of an hour."""

_ISO = re.compile(
    r"(\d{4}-\d\d-\d\d)[T ](\d\d:\d\d(?::\d\d(?:[.,]\d+)?)?)"
    r"|(\d{8})[T ](\d{4}(?:\d\d(?:[.,]\d+)?)?)",
    re.ASCII,
)
_ISO_ZONE = re.compile(r"(Z|[+-]\d\d(?::?[0-5]\d)?)", re.ASCII)
_UTC_NAMES = ("UTC", "GMT", "Z")

_DIRECTIVES = frozenset("YymdbBHIMSfpzjaA%")
SECONDS = "%s"
"""As a whole format: seconds since 1970 UTC."""


class BadZone(ValueError):
    """A text that is no time zone; its text is a phrase that says what was found."""

    def __init__(self, phrase: str, meant: str | None = None) -> None:
        super().__init__(phrase)
        self.meant = meant
        """The zone that was probably meant."""


@lru_cache(maxsize=64)
def zone_of(text: str) -> tzinfo:
    """The zone that a name such as 'Europe/Berlin', an offset such as '+01:00' or 'UTC' names.

    Raises BadZone; also where this machine has no data of time zones.
    """
    if text in _UTC_NAMES:
        return UTC
    offset = re.fullmatch(r"([+-])(\d\d):([0-5]\d)", text, re.ASCII)
    if offset is not None:
        sign, hours, minutes = offset.groups()
        ahead = timedelta(hours=int(hours), minutes=int(minutes))
        if ahead > timedelta(hours=14):
            raise BadZone(f"{quoted(text)}, an offset of more than 14 hours")
        return timezone(-ahead if sign == "-" else ahead)
    if re.fullmatch(r"[A-Z]{2,5}(?:\d[A-Z]{3})?", text):
        raise BadZone(f"the abbreviation {quoted(text)}, which leaves open when summer time holds")
    loose = re.fullmatch(r"(?:UTC|GMT)?\s*([+-])(\d{1,2})(?::?([0-5]\d))?", text, re.ASCII)
    if loose is not None:
        sign, hours, minutes = loose.groups()
        raise BadZone(quoted(text), f"{sign}{int(hours):02d}:{minutes or '00'}")
    try:
        return ZoneInfo(text)
    except (KeyError, ValueError, OSError):
        known = available_timezones()
    if not known:
        raise BadZone(
            f"{quoted(text)}, while this machine has no data of time zones; the Python package"
            " tzdata brings them"
        )
    raise BadZone(f"{quoted(text)}, which is no zone", nearest(text.replace(" ", "_"), known))


def format_trouble(time_format: str) -> str | None:
    """Why times cannot be read by a format, as a phrase; None where they can."""
    if time_format == SECONDS:
        return None
    full = without_short(time_format)
    found = re.findall(r"%(.?)", full, re.DOTALL)
    for letter in found:
        if letter not in _DIRECTIVES:
            return f"the directive {quoted('%' + letter)} in {quoted(time_format)}"
    twice = next((one for one in found if one != "%" and found.count(one) > 1), None)
    if twice is not None:
        return f"the directive {quoted('%' + twice)} twice in {quoted(time_format)}"
    there = set(found)
    day = bool(there & {"Y", "y"}) and ("j" in there or ("d" in there and there & {"m", "b", "B"}))
    if not day:
        return f"no whole day in {quoted(time_format)}"
    if not there & {"H", "I"} or "M" not in there:
        return f"no hour and minute in {quoted(time_format)}"
    if ("I" in there) != ("p" in there):
        known, lacking = ("%I", "%p") if "I" in there else ("%p", "%I")
        return f"{quoted(known)} without {quoted(lacking)} in {quoted(time_format)}"
    return None


def states_zone(time_format: str | None) -> bool:
    """Whether times written so may state their zone themselves."""
    return time_format is None or time_format == SECONDS or "%z" in time_format


def instants_us(
    texts: npt.NDArray[np.object_],
    time_format: str | None,
    time_zone: str | None,
    repeated_hour: Literal["first", "second"] | None,
) -> tuple[Micros, tuple[Refusal, ...]]:
    """The instants that texts state, shape (n,), and why others state none; these have 0.

    `time_format` None: ISO 8601. A text with an offset of its own keeps it; all others need
    `time_zone`. Empty entries (None or blanks) have 0 and are not refused. Raises BadZone for a
    zone and ValueError for a format that cannot be used.
    """
    zone = None if time_zone is None else zone_of(time_zone)
    if time_format is not None and (trouble := format_trouble(time_format)):
        raise ValueError(trouble)
    stamps, codes = _distinct(texts)
    local_us = np.zeros(len(stamps), np.int64)
    fate = np.full(len(stamps), _NO_TIME, np.int8)
    read = _reader(time_format)
    for index, stamp in enumerate(stamps):
        moment = read(stamp)
        if moment is None:
            continue
        offset = moment.utcoffset()
        fate[index] = _LOCAL if offset is None else _FIXED
        local = (moment.replace(tzinfo=None) - _EPOCH) // _MICROSECOND
        local_us[index] = local if offset is None else local - offset // _MICROSECOND
    is_local = fate == _LOCAL
    if zone is None:
        fate[is_local] = _NO_ZONE
    else:
        local_us[is_local], fate[is_local] = _to_utc(local_us[is_local], zone, repeated_hour)
    fate[(fate < _NO_TIME) & is_unset(local_us)] = _UNSET
    local_us[fate >= _NO_TIME] = 0
    refusals = _refusals(stamps, codes, fate, time_format, time_zone or "")
    return np.append(local_us, 0)[codes], refusals


def is_unset(at_us: Micros) -> BoolArray:
    """True where an instant lies in a year in which nobody measured."""
    years = at_us.astype("datetime64[us]").astype("datetime64[Y]").astype(np.int64) + 1970
    return np.asarray((years < EARLIEST_YEAR) | (years > LATEST_YEAR), np.bool_)


_FIXED, _LOCAL, _NO_TIME, _NO_ZONE, _TWICE, _NEVER, _UNSET = range(7)
"""What became of a text; from `_NO_TIME` on it is refused."""


def _distinct(texts: npt.NDArray[np.object_]) -> tuple[list[str], Micros]:
    """The distinct texts without blanks at their ends, and each entry's index; -1: empty."""
    index: dict[str, int] = {}
    codes = np.full(len(texts), -1, np.int64)
    for entry, text in enumerate(texts.tolist()):
        stripped = "" if text is None else str(text).strip()
        if stripped:
            codes[entry] = index.setdefault(stripped, len(index))
    return list(index), codes


def _reader(time_format: str | None) -> Callable[[str], datetime | None]:
    """What reads one text; None: it is not written so."""
    if time_format is None:
        return _iso
    if time_format == SECONDS:
        return _seconds
    full = without_short(time_format)
    undivided = full_widths(full)

    def read(text: str) -> datetime | None:
        if undivided.fullmatch(text) is None:
            return None
        try:
            return datetime.strptime(text, full)
        except ValueError:
            if "%f" not in full:
                return None
        shortened = re.sub(r"([.,]\d{6})\d+", r"\1", text)  # finer than a microsecond
        try:
            return datetime.strptime(shortened, full)
        except ValueError:
            return None

    return read


def _iso(text: str) -> datetime | None:
    match = _ISO.match(text)
    if match is None:
        return None
    rest = text[match.end() :].strip()
    if rest in _UTC_NAMES:
        rest = "+00:00"
    elif rest and _ISO_ZONE.fullmatch(rest) is None:
        return None
    clock, later = _within_the_day(match[2] or match[4])
    try:
        return datetime.fromisoformat(f"{match[1] or match[3]}T{clock}{rest}") + later
    except (ValueError, OverflowError):
        return None


def _within_the_day(clock: str) -> tuple[str, timedelta]:
    """A time of day that the calendar has, and how much later the one meant is.

    24:00:00 is the end of the day, which is the next one's beginning (ISO 8601, quoted from
    memory). A second 60 is the next minute's second 0: the seconds of POSIX have no place for a
    leap second and count it so (IEEE Std 1003.1, Seconds Since the Epoch, quoted from memory), and
    instruments that round 59.9999 write it too.
    """
    if re.fullmatch(r"24:?00(:?00([.,]0+)?)?", clock):
        return "00" + clock[2:], timedelta(days=1)
    sixty = re.fullmatch(r"(\d\d:?\d\d:?)60([.,]\d+)?", clock, re.ASCII)
    if sixty is not None:
        return f"{sixty[1]}59{sixty[2] or ''}", timedelta(seconds=1)
    return clock, timedelta(0)


def _seconds(text: str) -> datetime | None:
    if re.fullmatch(r"\d{1,11}(?:\.\d+)?", text, re.ASCII) is None:
        return None
    whole, _, part = text.partition(".")
    micros = int(f"{part[:6]:0<6}")
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=int(whole), microseconds=micros)


def _to_utc(
    local_us: Micros, zone: tzinfo, repeated_hour: Literal["first", "second"] | None
) -> tuple[Micros, npt.NDArray[np.int8]]:
    """Local times to instants, and what became of each.

    The offsets before and after a change are those of `fold` 0 and 1 (PEP 495): in the hour that
    comes twice the first is the greater, in the hour that does not exist the smaller.
    """
    quarters, which = np.unique(local_us // _QUARTER_US, return_inverse=True)
    first, second = (
        np.array([_offset_us(quarter, zone, fold) for quarter in quarters.tolist()], np.int64)
        for fold in (0, 1)
    )
    chosen = second if repeated_hour == "second" else first
    fate = np.full(len(quarters), _FIXED, np.int8)
    fate[first < second] = _NEVER
    if repeated_hour is None:
        fate[first > second] = _TWICE
    return local_us - chosen[which], fate[which]


def _offset_us(quarter: int, zone: tzinfo, fold: int) -> int:
    """How far a zone is ahead of UTC at a local quarter of an hour since 1970; 0 at the calendar's
    ends."""
    try:
        local = _EPOCH + timedelta(microseconds=quarter * _QUARTER_US)
        offset = local.replace(tzinfo=zone, fold=fold).utcoffset()
    except OverflowError:
        return 0
    return 0 if offset is None else offset // _MICROSECOND


_KEEP_ZONE = (
    "Check the zone and the instrument's clock; one that does not follow summer time has a fixed"
    " offset, such as time_zone = '+01:00'."
)


def _refusals(
    stamps: Sequence[str],
    codes: Micros,
    fate: npt.NDArray[np.int8],
    time_format: str | None,
    time_zone: str,
) -> tuple[Refusal, ...]:
    """Each kind of refusal once, over all entries."""
    fates = np.append(fate, np.int8(_FIXED))[codes]

    def refusal(which: int, words: str, expected: str, remedy: str) -> Refusal:
        return Refusal(
            fates == which,
            "time",
            lambda entry: f"{quoted(stamps[codes[entry]])}, {words}",
            expected,
            remedy,
        )

    found = [
        refusal(
            _NO_ZONE,
            "a time without a zone",
            "a time with its offset, or the zone in mapping.toml",
            "State the source's time_zone in mapping.toml, such as 'Europe/Berlin'.",
        ),
        refusal(
            _TWICE,
            f"which comes twice that day in {time_zone}, as summer time ends",
            "a time that comes once",
            "State the source's repeated_hour in mapping.toml as 'first' or 'second', or write such"
            " times with their offset.",
        ),
        refusal(
            _NEVER,
            f"which does not exist in {time_zone}, as summer time begins",
            "a time that exists",
            _KEEP_ZONE,
        ),
        refusal(
            _UNSET,
            "when nobody measured; the instrument's clock was probably not set",
            f"a time from {EARLIEST_YEAR} to {LATEST_YEAR}",
            "Correct the times, or leave these measurements out.",
        ),
    ]
    return tuple(
        one for one in [*found, *_no_times(stamps, codes, fate, time_format)] if one.bad.any()
    )


def _no_times(
    stamps: Sequence[str], codes: Micros, fate: npt.NDArray[np.int8], time_format: str | None
) -> Iterator[Refusal]:
    """Texts that are no time, by what is to be done about them."""
    indexes = np.flatnonzero(fate == _NO_TIME).tolist()
    order = order_of([stamps[index] for index in indexes])
    causes = {index: cause_of(stamps[index], order, time_format) for index in indexes}
    alike: dict[tuple[str, str], list[int]] = {}
    for index, (_, expected, remedy) in causes.items():
        alike.setdefault((expected, remedy), []).append(index)
    for (expected, remedy), group in alike.items():
        yield Refusal(
            np.isin(codes, group),
            "time",
            lambda entry: f"{quoted(stamps[codes[entry]])}, {causes[int(codes[entry])][0]}",
            expected,
            remedy,
        )
