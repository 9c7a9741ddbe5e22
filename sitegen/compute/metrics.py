"""Observations of one quantity made into a metric: control limits, signals, trend, forecast."""

import re
from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

import numpy as np

from sitegen.compute.forecasts import Period, trend_of
from sitegen.compute.observations import Observation
from sitegen.compute.stats.control import control_limits, ewma, signals
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.campaign import Exchange
from sitegen.model.followed_results import Metric, Point, Segment


def metrics_of(
    observations: Iterable[Observation], exchanges: Sequence[Exchange]
) -> tuple[Metric, ...]:
    """One metric for each series of like observations, in the order in which they first appear."""
    series: dict[tuple[object, ...], list[Observation]] = {}
    for one in observations:
        series.setdefault((one.name, one.unit, one.alike, one.definition), []).append(one)
    known = [mine for mine in series.values() if any(one.value is not None for one in mine)]
    names = _names(known)
    stems = _stems(names)
    return tuple(
        _metric(name, stem, mine, exchanges)
        for name, stem, mine in zip(names, stems, known, strict=True)
    )


def _names(series: Sequence[Sequence[Observation]]) -> list[str]:
    """A name for each series: where several have one, what tells them apart is added."""
    alike: dict[str, set[tuple[str, ...]]] = {}
    for mine in series:
        alike.setdefault(mine[0].name, set()).add(mine[0].alike)
    names = []
    for mine in series:
        columns = zip(*alike[mine[0].name], strict=True)
        telling = [
            word
            for word, others in zip(mine[0].alike, columns, strict=True)
            if word and len(set(others)) > 1
        ]
        names.append(", ".join([mine[0].name, *telling]))
    twice = {name for name in names if names.count(name) > 1}
    return [
        f"{name}, since {min(one.at for one in mine):%Y-%m-%d %H:%M}" if name in twice else name
        for name, mine in zip(names, series, strict=True)
    ]


def _stems(names: Sequence[str]) -> list[str]:
    """A stem of an address for each name, no two alike."""
    stems: list[str] = []
    for name in names:
        stem = "over-time-" + re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")
        number = 1
        while (numbered := stem if number == 1 else f"{stem}-{number}") in stems:
            number += 1
        stems.append(numbered)
    return stems


def _metric(
    name: str, stem: str, observations: Sequence[Observation], exchanges: Sequence[Exchange]
) -> Metric:
    found = sorted(
        (one for one in observations if one.value is not None),
        key=lambda one: (one.at, one.source),
    )
    values = np.array([one.value for one in found], dtype=np.float64)
    usual: BoolArray = np.array([not one.failed for one in found])
    segments = _segments([one.at for one in found], values, usual, exchanges)
    broken, averages = _charted(values, usual, segments)
    last = found[-1]
    left_out = len(observations) - len(found)
    lately = [place for place in range(segments[-1].first, len(found)) if usual[place]]
    period = Period(
        tuple(found[place].at for place in lately),
        values[lately],
        last.unit,
        last.lower,
        last.upper,
        segments[-1].exchanged,
    )
    trend = trend_of(period)
    return Metric(
        name=name,
        unit=last.unit,
        address=stem,
        points=tuple(
            Point(one.at, float(value), one.u, one.source, names)
            for one, value, names in zip(found, values, broken, strict=True)
        ),
        limits=segments[-1].limits,
        ewma=tuple(averages["values"].tolist()),
        ewma_lower=tuple(averages["lower"].tolist()),
        ewma_upper=tuple(averages["upper"].tolist()),
        ewma_signals=tuple(np.flatnonzero(averages["out"]).tolist()),
        bound_lower=last.lower,
        bound_upper=last.upper,
        forecast=trend.forecast,
        forecast_text=trend.forecast_text,
        trend_text=trend.text + _left_out(left_out) + _of_failed(int(np.sum(~usual))),
        subject=last.subject,
        segments=segments,
        left_out=left_out,
        trend=trend.word,
    )


def _segments(
    times: Sequence[datetime],
    values: FloatArray,
    usual: BoolArray,
    exchanges: Sequence[Exchange],
) -> tuple[Segment, ...]:
    """Where exchanges part the points; a point at the time of an exchange comes after it.

    Limits come from points of events that did not fail.
    """
    cuts: dict[int, list[str]] = {0: []}
    for exchange in sorted(exchanges, key=lambda one: one.at):
        place = bisect_left(times, exchange.at)
        if 0 < place < len(times):
            cuts.setdefault(place, []).append(f"{exchange.part}: {exchange.description}")
    ends = [*list(cuts)[1:], len(times)]
    return tuple(
        Segment(
            first, end - 1, "; ".join(parts), control_limits(values[first:end][usual[first:end]])
        )
        for (first, parts), end in zip(cuts.items(), ends, strict=True)
    )


def _charted(
    values: FloatArray, usual: BoolArray, segments: Sequence[Segment]
) -> tuple[list[tuple[str, ...]], Mapping[str, FloatArray]]:
    """Rules that each point breaks, and the average with its limits; NaN without limits.

    A point of an event that failed is held against the limits by itself; runs and the average
    go on as if it were not there, and the average keeps its value.
    """
    broken: list[tuple[str, ...]] = [()] * len(values)
    averages = {name: np.full(len(values), np.nan) for name in ("values", "lower", "upper", "out")}
    averages["out"][:] = 0.0
    for segment in segments:
        if segment.limits is None:
            continue
        everything = np.arange(segment.first, segment.last + 1)
        places = everything[usual[everything]]
        for place, names in zip(places, signals(values[places], segment.limits), strict=True):
            broken[place] = names
        for place in everything[~usual[everything]]:
            (broken[place],) = signals(values[[place]], segment.limits)
        average = ewma(values[places], segment.limits.centre, segment.limits.sigma)
        averages["values"][places] = average.values
        averages["lower"][places], averages["upper"][places] = average.lower, average.upper
        averages["out"][places] = average.signals()
        for place in everything[1:][~usual[everything[1:]]]:
            for name in ("values", "lower", "upper"):
                averages[name][place] = averages[name][place - 1]
    return broken, averages


def _of_failed(number: int) -> str:
    if number == 0:
        return ""
    whose = "One point is" if number == 1 else f"{number} points are"
    return f" {whose} of events that failed: shown, and part of no limit, average or trend."


def _left_out(number: int) -> str:
    if number == 0:
        return ""
    if number == 1:
        return " At one event it was not determined; that event is left out."
    return f" At {number} events it was not determined; they are left out."
