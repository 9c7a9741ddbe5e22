"""Drawings of a station's page: a control chart for each quantity that is followed over time."""

from collections.abc import Mapping

from sitegen import addresses
from sitegen.chart.control import control_chart
from sitegen.model.campaign import Station
from sitegen.model.followed_results import Metric, StationFollowed
from sitegen.model.results import Drawing


def followed_drawings(station: Station, followed: StationFollowed) -> Mapping[str, Drawing]:
    """The chart of each metric that has points enough, by its address's stem."""
    page = addresses.station(station.id)
    return {
        metric.address: control_chart(
            address=addresses.drawing(page, metric.address),
            title=f"{metric.name[0].upper()}{metric.name[1:]} over time",
            description=_description(metric),
            metric=metric,
            exchanges=station.exchanges,
        )
        for metric in followed.metrics
        if metric.charted
    }


def _description(metric: Metric) -> str:
    signals = sum(bool(point.signals) for point in metric.points) + len(metric.ewma_signals)
    return (
        f"Control chart of {len(metric.points)} points with their exponentially weighted moving"
        f" average; {signals} signals. {metric.trend_text}"
    )
