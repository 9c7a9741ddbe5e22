"""Trend of a metric in words, and when it would meet its bound if the trend went on."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from sitegen.compute.stats.trend import (
    CONFIDENCE,
    LEAST_POINTS,
    SIGNIFICANCE,
    Line,
    crossing,
    line_through,
)
from sitegen.model.arrays import FloatArray
from sitegen.model.followed_results import Forecast, TrendWord
from sitegen.units import THIN, number, shown_unit

FURTHEST = 10.0
"""A date further away than so many times the time observed is not named."""


@dataclass(frozen=True, eq=False)
class Period:
    """The points of a metric since the last exchange of a part, in time order."""

    times: Sequence[datetime]
    values: FloatArray
    unit: str
    lower: float | None
    upper: float | None
    exchanged: str
    """What was exchanged before it; empty: nothing."""


@dataclass(frozen=True)
class Trend:
    """What a period's points say of going on."""

    word: TrendWord
    text: str
    forecast: Forecast | None
    forecast_text: str


def trend_of(period: Period) -> Trend:
    """The slope with its t-test, and a forecast where it is significant and leads to a bound."""
    n = len(period.times)
    if n == 0:
        why = "every event since the last exchange of a part failed"
        return Trend("not judged", f"No trend: {why}.", None, f"None: {why}.")
    since = f" since {period.times[0]:%Y-%m-%d}" + (
        f" ({period.exchanged})" if period.exchanged else ""
    )
    line = line_through(_days(period), period.values)
    if n < LEAST_POINTS or line is None:
        points = "One point" if n == 1 else f"{n} points"
        needed = f"a trend is judged from {LEAST_POINTS} points on"
        why = needed if n < LEAST_POINTS else "all points have one time"
        return Trend("not judged", f"{points}{since}; {why}.", None, f"None: {why}.")
    chance = _chance(line.p_value)
    if line.p_value >= SIGNIFICANCE:
        return Trend(
            "not significant",
            f"No significant trend over {n} points{since} ({chance}).",
            None,
            "None: the slope is not significant.",
        )
    word: TrendWord = "rises" if line.slope > 0 else "falls"
    text = (
        f"{word.capitalize()} by {_rounded(abs(line.slope) * 30.0, period.unit)} in 30 days,"
        f" over {n} points{since} ({chance})."
    )
    return _towards_bound(period, line, word, text)


def _towards_bound(period: Period, line: Line, word: TrendWord, text: str) -> Trend:
    rising = line.slope > 0
    bound, other = (period.upper, period.lower) if rising else (period.lower, period.upper)
    side = "upper" if rising else "lower"
    if bound is None:
        away = "the trend leads away from its bound" if other is not None else "it has no bound"
        return Trend(word, text, None, f"None: {away}.")
    now = line.at(float(_days(period)[-1]))
    if (now >= bound) if rising else (now <= bound):
        return Trend(word, text, None, f"None: the trend stands beyond its {side} bound already.")
    forecast = _forecast(period, line, bound, side)
    return Trend(word, text, forecast, forecast.text)


def _forecast(period: Period, line: Line, bound: float, side: str) -> Forecast:
    found = crossing(line, bound)
    assert found is not None  # a significant slope is not level
    observed = float(_days(period)[-1])
    at = _date(period, found.at, observed)
    earliest = None if found.earliest is None else _date(period, found.earliest, observed)
    latest = None if found.latest is None else _date(period, found.latest, observed)
    ends = [f"{end:%Y-%m-%d}" if end is not None else "open" for end in (earliest, latest)]
    when = (
        f"about {at:%Y-%m-%d}"
        if at is not None
        else f"later than {FURTHEST:g} times the {observed:.3g} days observed"
    )
    return Forecast(
        slope_per_day=line.slope,
        p_value=line.p_value,
        bound=bound,
        at=at,
        earliest=earliest,
        latest=latest,
        text=f"If the trend goes on it meets its {side} bound, {_rounded(bound, period.unit)},"
        f" {when}; {CONFIDENCE:.0%} interval from {ends[0]} to {ends[1]}.".replace("%", "\u202f%"),
    )


def _date(period: Period, days: float, observed: float) -> datetime | None:
    """The date of a day of the period; None: before its end, or too far away to be named."""
    if not observed < days <= (1.0 + FURTHEST) * observed:
        return None
    return period.times[0] + timedelta(days=days)


def _days(period: Period) -> FloatArray:
    """Days from the period's first point."""
    return np.array([(time - period.times[0]) / timedelta(days=1) for time in period.times])


def _chance(p_value: float) -> str:
    return "p < 0.001" if p_value < 0.001 else f"p = {number(p_value, 2)}"


def _rounded(value: float, unit: str) -> str:
    """A quantity with three significant digits."""
    factor, symbol = shown_unit([value], unit)
    text = number(value * factor, 3)
    return f"{text}{'' if symbol in {'', '°'} else THIN}{symbol}"
