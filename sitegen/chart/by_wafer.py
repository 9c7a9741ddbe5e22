"""One parameter wafer by wafer: median, quartiles, 5 % to 95 %, single values where few."""

from collections.abc import Mapping
from functools import cache

import altair as alt
import numpy as np

from sitegen.chart import value_rows, vega
from sitegen.chart.theme import colour
from sitegen.model.arrays import FloatArray
from sitegen.model.results import AxisRange, Drawing

FEW = 12
"""Up to so many values are shown one by one, and have no box."""
ROW_HEIGHT = 40


@cache
def _specification() -> bytes:
    def layer(name: str) -> alt.Chart:
        return alt.Chart(alt.NamedData(name))

    x, y = value_rows.encoded_x, value_rows.encoded_y
    ink = colour("ink")
    whiskers = (
        layer("whiskers")
        .mark_rule(stroke=colour("second"), strokeWidth=1.25, clip=True)
        .encode(x=x("from"), x2="to", y=y("y"), y2="to_y")
    )
    boxes = (
        layer("boxes")
        .mark_rect(fill=colour("accent-soft"), stroke=colour("accent"), strokeWidth=1.25, clip=True)
        .encode(x=x("from"), x2="to", y=y("y"), y2="to_y")
    )
    medians = (
        layer("medians")
        .mark_rule(stroke=ink, strokeWidth=2.5, clip=True)
        .encode(x=x("x"), y=y("y"), y2="to_y")
    )
    points = (
        layer("points")
        .mark_point(shape="circle", size=34, stroke=colour("accent"), strokeWidth=1.25, clip=True)
        .encode(x=x("x"), y=y("y"))
    )
    return value_rows.compiled(whiskers, boxes, medians, points)


def by_wafer(
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
    """A box from quartile to quartile, its median, and whiskers from 5 % to 95 % for each wafer.

    Values, limits and axis are in `unit`; quantiles are numpy's default ('linear'). Up to `FEW`
    values are points with their median and without a box, which would claim more than they hold.
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
        row_height=ROW_HEIGHT,
    )
    data: dict[str, vega.Rows] = {"whiskers": [], "boxes": [], "medians": [], "points": []}
    for row, values in enumerate(rows.values.values()):
        for name_of, entries in _row_marks(values, row + 0.5).items():
            data[name_of].extend(entries)
    return value_rows.drawn(_specification(), rows, data)


def _row_marks(values: FloatArray, middle: float) -> dict[str, vega.Rows]:
    """Marks of one wafer; `middle` is the height of its row's middle line."""
    if not values.size:
        return {}
    q05, q25, median, q75, q95 = (
        float(q) for q in np.quantile(values, (0.05, 0.25, 0.5, 0.75, 0.95))
    )
    bar = [{"x": median, "y": middle - 0.3, "to_y": middle + 0.3}]
    if values.size <= FEW:
        return {
            "points": [{"x": float(value), "y": middle} for value in np.sort(values)],
            "medians": bar,
        }
    ends = [
        {"from": end, "to": end, "y": middle - 0.12, "to_y": middle + 0.12} for end in (q05, q95)
    ]
    return {
        "whiskers": [{"from": q05, "to": q95, "y": middle, "to_y": middle}, *ends],
        "boxes": [{"from": q25, "to": q75, "y": middle - 0.25, "to_y": middle + 0.25}],
        "medians": bar,
    }
