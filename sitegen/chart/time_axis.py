"""An axis of time: days in UTC, with ticks on whole hours, days or months."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from sitegen.chart.axis import Axis

NEAREST_TICKS = 76
"""Room that a date needs, in pixels."""
_HOURS = (1, 2, 3, 6, 12)
_DAYS = (1, 2, 7, 14)
_MONTHS = (1, 2, 3, 6, 12, 24, 60, 120)


@dataclass(frozen=True)
class TimeAxis:
    """Time as days from `start`."""

    axis: Axis
    start: datetime

    def days(self, moment: datetime) -> float:
        """Place of a moment on the axis."""
        return (moment - self.start) / timedelta(days=1)


def time_axis(
    moments: Sequence[datetime], length: float
) -> tuple[TimeAxis, tuple[tuple[float, str], ...]]:
    """The axis over these moments, a little wider, and its ticks as (day, label).

    Labels are dates where ticks are whole days apart, else times with the date at the first tick
    and at midnights. `length` is the axis's in pixels.
    """
    first, last = min(moments).astimezone(UTC), max(moments).astimezone(UTC)
    margin = max((last - first) * 0.03, timedelta(hours=1))
    start, end = first - margin, last + margin
    axis = TimeAxis(Axis(0.0, (end - start) / timedelta(days=1), (), ""), start)
    most = max(int(length / NEAREST_TICKS), 1)
    ticks, dated = next(each for each in _candidates(start, end) if len(each[0]) <= most)
    return axis, tuple(
        (axis.days(tick), _label(tick, dated, first=place == 0)) for place, tick in enumerate(ticks)
    )


def _label(tick: datetime, dated: bool, *, first: bool) -> str:
    if dated or tick.hour == 0:
        return f"{tick:%Y-%m-%d}"
    return f"{tick:%m-%d %H:%M}" if first else f"{tick:%H:%M}"


def _candidates(start: datetime, end: datetime) -> Iterator[tuple[list[datetime], bool]]:
    """Ticks from close to wide, and whether they are whole days apart."""
    midnight = start.replace(hour=0, minute=0, second=0, microsecond=0)
    for hours in _HOURS:
        yield _steps(midnight, timedelta(hours=hours), start, end), False
    for days in _DAYS:
        yield _steps(midnight, timedelta(days=days), start, end), True
    for months in _MONTHS:
        first = start.year * 12 + start.month - 1
        first -= first % months
        last = end.year * 12 + end.month
        moments = [
            datetime(month // 12, month % 12 + 1, 1, tzinfo=UTC)
            for month in range(first, last + 1, months)
        ]
        yield [moment for moment in moments if start <= moment <= end], True
    yield [], True


def _steps(midnight: datetime, step: timedelta, start: datetime, end: datetime) -> list[datetime]:
    most = 200
    number = min(int((end - midnight) / step) + 1, most)
    moments = [midnight + place * step for place in range(number + 1)]
    return [moment for moment in moments if start <= moment <= end]
