"""Histograms of one parameter, a row for each wafer over one axis."""

from collections.abc import Mapping
from functools import cache

import altair as alt
import numpy as np

from sitegen.chart import value_rows
from sitegen.chart.axis import Axis
from sitegen.chart.theme import colour
from sitegen.model.arrays import FloatArray
from sitegen.model.results import AxisRange, Drawing
from sitegen.units import count

BINS = 40
"""Bins over the axis, or the next number that divides its steps evenly."""
_FULL = 0.88
"""Height of the tallest bar as a share of its row."""


@cache
def _specification() -> bytes:
    bars = (
        alt.Chart(alt.NamedData("bars"))
        .mark_rect(fill=colour("accent"), stroke=colour("paper"), strokeWidth=0.5)
        .encode(x=value_rows.encoded_x("from"), x2="to", y=value_rows.encoded_y("floor"), y2="top")
    )
    return value_rows.compiled(bars)


def distribution(
    *,
    address: str,
    title: str,
    description: str,
    values_by_wafer: Mapping[str, FloatArray],
    unit: str,
    name: str,
    lower: float | None,
    upper: float | None,
    target: float | None,
    axis: AxisRange,
) -> Drawing:
    """A histogram for each wafer over `axis`, with the limits and the target in words.

    Values, limits and axis are in `unit`; all rows count on the same scale. Values outside the
    axis are counted in words at the end of their row.
    """
    rows = value_rows.rows_of(
        address=address,
        title=title,
        description=description,
        values_by_wafer=values_by_wafer,
        unit=unit,
        name=name,
        lower=lower,
        upper=upper,
        target=target,
        axis=axis,
        row_height=_row_height(len(values_by_wafer)),
    )
    edges = bin_edges(rows.x)
    counts = [np.histogram(values, bins=edges)[0] for values in rows.values.values()]
    tallest = max((int(found.max()) for found in counts), default=0)
    bars = [
        {
            "from": edges[place],
            "to": edges[place + 1],
            "floor": row + 1,
            "top": row + 1 - _FULL * int(found[place]) / tallest,
        }
        for row, found in enumerate(counts)
        for place in np.flatnonzero(found)
    ]
    guide = None
    if tallest:
        round_count = _round_count(tallest)
        guide = 1 - _FULL * round_count / tallest, count(round_count, "value")
    return value_rows.drawn(_specification(), rows, {"bars": bars}, guide=guide)


def _round_count(tallest: int) -> int:
    """The greatest of 1, 2, 5, 10, 20, ... that is at most `tallest`."""
    power = int("1" + "0" * (len(str(tallest)) - 1))
    return max(digit * power for digit in (1, 2, 5) if digit * power <= tallest)


def bin_edges(x: Axis) -> list[float]:
    """Edges of the bins: whole parts of the axis's steps, so that each tick is an edge."""
    steps = max(len(x.ticks) - 1, 1)
    return [float(edge) for edge in np.linspace(x.lower, x.upper, steps * -(-BINS // steps) + 1)]


def _row_height(wafers: int) -> int:
    return min(max(480 // max(wafers, 1), 40), 96)
