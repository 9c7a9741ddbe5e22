"""Tables of what is followed of the stations over time."""

from collections.abc import Iterator, Sequence

import pyarrow as pa

from sitegen.model.followed_results import Metric, StationFollowed
from sitegen.publish.record_tables import REAL, TEXT, TIME, WHOLE, YES, Columns, table_of

FOLLOWED_COLUMNS: Columns = (
    ("station", TEXT, "station"),
    ("metric", TEXT, "quantity that is followed"),
    ("at", TIME, "reference time"),
    ("source", TEXT, "calibration or verification"),
    ("value", REAL, "what it found, in 'unit'"),
    ("u", REAL, "standard uncertainty; null: not stated"),
    ("unit", TEXT, "unit of every figure of the row"),
    ("segment", WHOLE, "stretch between exchanges of parts, from 1; limits begin anew with each"),
    ("centre", REAL, "centre of the stretch; null: no limits follow from its points"),
    ("control_lower", REAL, "lower control limit, three sigma from the centre"),
    ("control_upper", REAL, "upper control limit"),
    ("basis", WHOLE, "points that the limits come from"),
    ("provisional", YES, "fewer than 20 points"),
    ("ewma", REAL, "exponentially weighted moving average, weight 0.2"),
    ("ewma_lower", REAL, "lower limit of the average"),
    ("ewma_upper", REAL, "upper limit of the average"),
    ("signals", TEXT, "rules that the point breaks"),
    ("bound_lower", REAL, "lower bound as the latest record declares it"),
    ("bound_upper", REAL, "upper bound"),
)
SPREAD_COLUMNS: Columns = (
    ("station", TEXT, "station"),
    ("structure", TEXT, "structure measured again"),
    ("parameter", TEXT, "S-parameter"),
    ("repeatability", REAL, "standard deviation of one contact, |ΔS| over frequency"),
    ("drift", REAL, "rms of later verifications of a calibration less its first, beyond contacts"),
    ("reproducibility", REAL, "standard deviation between calibrations, beyond one contact"),
    ("difference", REAL, "rms over frequency of the mean deviation from the reference"),
    ("n_repeatability", WHOLE, "degrees of freedom"),
    ("n_drift", WHOLE, "differences"),
    ("n_reproducibility", WHOLE, "degrees of freedom"),
    ("n_difference", WHOLE, "calibrations averaged over"),
    ("n_left_out", WHOLE, "verifications that cannot be compared with these"),
)


def contents(followed: Sequence[StationFollowed]) -> Iterator[tuple[str, str, pa.Table]]:
    """Every table with its name and what it holds; none where nothing is followed."""
    if any(station.metrics for station in followed):
        yield "followed", "Every point of what is followed of a station.", _points(followed)
    if any(station.spreads for station in followed):
        yield "spreads", "What lies between measurements of one structure.", _spreads(followed)


def _points(followed: Sequence[StationFollowed]) -> pa.Table:
    return table_of(
        FOLLOWED_COLUMNS,
        (
            _point(station.station, metric, number, place)
            for station in followed
            for metric in station.metrics
            for number, segment in enumerate(metric.segments)
            for place in range(segment.first, segment.last + 1)
        ),
    )


def _point(station: str, metric: Metric, segment: int, place: int) -> dict[str, object]:
    point, limits = metric.points[place], metric.segments[segment].limits
    signals = [*point.signals, *(["EWMA"] if place in metric.ewma_signals else [])]
    row: dict[str, object] = {
        "station": station,
        "metric": metric.name,
        "at": point.at,
        "source": point.source,
        "value": point.value,
        "u": point.u,
        "unit": metric.unit,
        "segment": segment + 1,
        "signals": ", ".join(signals),
        "bound_lower": metric.bound_lower,
        "bound_upper": metric.bound_upper,
    }
    if limits is None:
        return row
    return row | {
        "centre": limits.centre,
        "control_lower": limits.lower,
        "control_upper": limits.upper,
        "basis": limits.basis,
        "provisional": limits.provisional,
        "ewma": metric.ewma[place],
        "ewma_lower": metric.ewma_lower[place],
        "ewma_upper": metric.ewma_upper[place],
    }


def _spreads(followed: Sequence[StationFollowed]) -> pa.Table:
    figures = ("repeatability", "drift", "reproducibility", "difference")
    return table_of(
        SPREAD_COLUMNS,
        (
            {
                "station": station.station,
                "structure": spread.structure,
                "parameter": spread.parameter,
                **{name: getattr(spread, name) for name in figures},
                **{f"n_{name.replace(' ', '_')}": n for name, n in spread.counts.items()},
            }
            for station in followed
            for spread in station.spreads
        ),
    )
