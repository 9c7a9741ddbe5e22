"""What a station's page shows of the quantities followed over time, what needs attention first."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from markupsafe import Markup

from sitegen import addresses, units
from sitegen.model.campaign import Exchange, Station
from sitegen.model.followed_results import (
    FEWEST_CHARTED,
    POINTS_A_FALSE_SIGNAL,
    SIGNAL_RULES,
    Forecast,
    Metric,
    StationFollowed,
)
from sitegen.model.results import Drawing
from sitegen.render.figures import figure
from sitegen.render.marks import marked
from sitegen.render.phrases import (
    capital,
    counted,
    day,
    joined,
    limits,
    link,
    number_of,
    plain,
    spelled,
    time_tag,
    with_unit,
)
from sitegen.render.pieces import Cell, Column, Fact, Figure, Row, Table, Text
from sitegen.render.station_spreads import spread_table
from sitegen.render.station_wear import wear_table

BEYOND, NOW, EARLIER, QUIET, PROVISIONAL, NONE = (
    "beyond its bound",
    "signal now",
    "signal earlier",
    "in control",
    "in control, provisional",
    "no limits yet",
)
"""States of a quantity; 'now' and 'beyond' are of its latest point."""
TRENDS: Mapping[str, str] = {
    "rises": "rises",
    "falls": "falls",
    "not significant": "none",
    "not judged": "too few",
}
MOST_NAMED = 3


@dataclass(frozen=True, slots=True)
class Followed:
    """The section on the station over time."""

    overview: tuple[Table, ...]
    """Nothing where nothing is followed."""
    rules: tuple[Fact, ...]
    tables: tuple[Table, ...]
    """Wear, spreads, exchanged parts; nothing where there is none of all."""
    about: str
    charts: tuple[Figure, ...]


def followed_view(
    station: Station, followed: StationFollowed | None, drawings: Mapping[str, Drawing], k: float
) -> Followed:
    """The section. drawings: a control chart by each metric's address; k: coverage factor."""
    page = addresses.station(station.id)
    known = followed or StationFollowed(station.id, (), ())
    metrics = by_attention(known.metrics)
    charted, few = ([one for one in metrics if one.charted == wanted] for wanted in (True, False))
    tables = (
        wear_table(known.wear, metrics),
        spread_table(known.spreads),
        _exchanges(station.exchanges),
    )
    return Followed(
        overview=tuple(table for table in (_overview(charted, k), _few(few, k)) if table.rows),
        rules=tuple(Fact(name, text) for name, text in SIGNAL_RULES.items()) if charted else (),
        tables=tables if any(table.rows for table in tables) or metrics else (),
        about=_about(charted),
        charts=tuple(
            figure(drawings[metric.address], page, caption=_caption(metric), anchor=metric.address)
            for metric in charted
            if metric.address in drawings
        ),
    )


def followed_lead(metrics: Sequence[Metric]) -> tuple[Markup, ...]:
    """What a reader must know first of the quantities followed; nothing where none is."""
    if not metrics:
        return ()
    states = [(state(metric), metric) for metric in by_attention(metrics)]
    said = [
        told
        for word, verb in (
            (BEYOND, ("is beyond its bound", "are beyond their bounds")),
            (NOW, ("gives a signal at its latest point", "give a signal at their latest point")),
        )
        for told in [_named([metric for each, metric in states if each == word], verb)]
        if told
    ]
    if not said:
        said.append(Markup("none gives a signal at its latest point"))
    soon = [metric for each, metric in states if _dated(metric) and each != BEYOND]
    if soon:
        said.append(
            _named(soon, ("would meet its bound", "would meet their bounds"))
            + Markup(" if its trend went on" if len(soon) == 1 else " if their trends went on")
        )
    return (
        Markup('Of {} <a href="#followed">followed over time</a> {}.').format(
            counted(len(metrics), "quantity", "quantities"), joined(said, "and")
        ),
    )


def _named(metrics: Sequence[Metric], verb: tuple[str, str]) -> Markup:
    """'one gives ... (noise floor)'; empty for none."""
    if not metrics:
        return Markup("")
    names = joined([_anchored(one) for one in metrics[:MOST_NAMED]])
    more = len(metrics) - MOST_NAMED
    return Markup("{} {} ({}{})").format(
        spelled(len(metrics)),
        verb[0 if len(metrics) == 1 else 1],
        names,
        f", and {number_of(more)} more" if more > 0 else "",
    )


def state(metric: Metric) -> str:
    """A quantity's state, one of the words above."""
    latest = metric.points[-1]
    if _beyond(metric):
        return BEYOND
    if metric.limits is None or not metric.charted:
        return NONE
    last = len(metric.points) - 1
    if latest.signals or last in metric.ewma_signals:
        return NOW
    first = metric.segments[-1].first if metric.segments else 0
    earlier = any(place >= first for place in metric.ewma_signals) or any(
        point.signals for point in metric.points[first:]
    )
    if earlier:
        return EARLIER
    return PROVISIONAL if metric.limits.provisional else QUIET


def by_attention(metrics: Sequence[Metric]) -> tuple[Metric, ...]:
    """What needs attention first: beyond a bound, a signal now, a bound that would be met on a day
    that can be named, a signal earlier; alike ones keep their order."""
    order = {word: place for place, word in enumerate((BEYOND, NOW, "", EARLIER))}

    def rank(metric: Metric) -> int:
        found = order.get(state(metric), len(order))
        return min(found, order[""]) if _dated(metric) else found

    return tuple(sorted(metrics, key=rank))


def _dated(metric: Metric) -> bool:
    """Whether a forecast names the day on which it would meet its bound."""
    return metric.forecast is not None and metric.forecast.at is not None


def _beyond(metric: Metric) -> bool:
    value = metric.points[-1].value
    low, high = metric.bound_lower, metric.bound_upper
    return (low is not None and value < low) or (high is not None and value > high)


def _about(metrics: Sequence[Metric]) -> str:
    """How the charts are to be read, with the false signals to be expected."""
    points = sum(len(metric.points) for metric in metrics)
    return (
        "Points stand in reference time. Limits come from the first 20 points after each exchange"
        " of a part and stay; with fewer they are provisional. A signal asks for a look and is no"
        f" verdict: a quantity in control gives a false one about once in {POINTS_A_FALSE_SIGNAL}"
        f" points, the {number_of(points)} points here about"
        f" {max(round(points / POINTS_A_FALSE_SIGNAL), 1)}, and more where limits are provisional."
        " Of quantities without a trend one in twenty shows a significant one."
    )


def _overview(metrics: Sequence[Metric], k: float) -> Table:
    return Table(
        id="overview",
        caption=Markup(
            "Quantities followed over time, what needs attention first; ± is the expanded"
            " uncertainty (k = {}) where one is stated"
        ).format(f"{k:g}"),
        columns=(
            Column("Quantity"),
            Column("State"),
            Column("Latest", True),
            Column("Bounds", True),
            Column("Trend"),
            Column("Meets its bound (99\u202f% interval)"),
            Column("Points", True),
        ),
        rows=tuple(_row(metric, place, k) for place, metric in enumerate(metrics)),
    )


def _few(metrics: Sequence[Metric], k: float) -> Table:
    """Quantities with too few points for a chart."""
    return Table(
        id="few",
        caption=f"Quantities with fewer than {spelled(FEWEST_CHARTED)} points, not charted",
        columns=(
            Column("Quantity"),
            Column("State"),
            Column("Latest", True),
            Column("Bounds", True),
            Column("Points", True),
        ),
        rows=tuple(_few_row(metric, place, k) for place, metric in enumerate(metrics)),
    )


def _few_row(metric: Metric, place: int, k: float) -> Row:
    row = _row(metric, place, k)
    return Row(row.head, (*row.cells[:3], row.cells[-1]))


def _anchored(metric: Metric) -> Markup:
    """The quantity's name, leading to its chart where it has one."""
    return link(metric.name, f"#{metric.address if metric.charted else 'few'}")


def _row(metric: Metric, place: int, k: float) -> Row:
    latest = metric.points[-1]
    expanded = None if latest.u is None else k * latest.u
    factor, unit = units.shown_unit([latest.value], metric.unit)
    return Row(
        Cell(
            Markup('<span class="name">{}</span>').format(_anchored(metric))
            if metric.charted
            else metric.name
        ),
        (
            Cell(marked(state(metric)), str(place)),
            Cell(units.quantity(latest.value, metric.unit, expanded), plain(latest.value), True),
            Cell(with_unit(limits(metric.bound_lower, metric.bound_upper, factor), unit), "", True),
            Cell(TRENDS[metric.trend]),
            Cell(_when(metric.forecast)),
            Cell(_points(metric), str(len(metric.points)), True),
        ),
    )


def _points(metric: Metric) -> str:
    """'30', '30, 2 left out'."""
    left = f", {metric.left_out} left out" if metric.left_out else ""
    return f"{len(metric.points)}{left}"


def _when(forecast: Forecast | None) -> Text:
    """'2026-06-14 (2026-05-26 to open)'."""
    if forecast is None:
        return units.MISSING
    return Markup("{} ({} to {})").format(
        *(_day(moment) for moment in (forecast.at, forecast.earliest, forecast.latest))
    )


def _day(moment: datetime | None) -> Text:
    """A date that does not break, or 'open'."""
    if moment is None:
        return "open"
    return Markup('<time datetime="{0}">{0}</time>').format(day(moment.date()))


def _caption(metric: Metric) -> Markup:
    """What the chart is of, with trend, forecast and where the limits come from."""
    if metric.limits is None:
        basis = "No control limits: fewer than two points in the latest stretch, or all alike."
    else:
        basis = f"Limits of the latest stretch come from its first {metric.limits.basis} points."
    return Markup("<strong>{}.</strong> {} <em>Forecast:</em> {} {}").format(
        capital(metric.name), metric.trend_text, metric.forecast_text, basis
    )


def _exchanges(exchanges: Sequence[Exchange]) -> Table:
    return Table(
        id="exchanges",
        caption="Parts exchanged, cleaned or serviced; limits begin anew after each",
        columns=(Column("When"), Column("Part"), Column("What was done")),
        rows=tuple(
            Row(Cell(time_tag(each.at)), (Cell(each.part), Cell(each.description)))
            for each in sorted(exchanges, key=lambda each: each.at)
        ),
        empty="No exchange of a part is recorded.",
    )
