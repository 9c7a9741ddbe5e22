"""The chart of a control die: its readings less the reference, between limits and bounds."""

import math

from sitegen import addresses
from sitegen.chart.control import control_chart
from sitegen.model.device_results import ControlResult
from sitegen.model.followed_results import ControlLimits, Metric, Point, Segment
from sitegen.model.results import Drawing

FEWEST_CHARTED = 3
ENOUGH = 20
"""Control limits from fewer readings than this are provisional."""


def control_die_drawing(control: ControlResult, name: str) -> Drawing | None:
    """None with fewer than three readings."""
    readings = control.readings
    if len(readings) < FEWEST_CHARTED or control.reference is None:
        return None
    reference = control.reference
    nowhere = (math.nan,) * len(readings)
    limits = (
        ControlLimits(
            centre=(control.lower + control.upper) / 2 - reference,
            lower=control.lower - reference,
            upper=control.upper - reference,
            sigma=control.reproducibility or 0.0,
            basis=len(readings),
            provisional=len(readings) < ENOUGH,
        )
        if control.lower is not None and control.upper is not None
        else None
    )
    metric = Metric(
        name="from the reference",
        unit=control.unit,
        address=f"control-{control.record.id}",
        points=tuple(
            Point(
                one.at,
                one.difference,
                one.u,
                f"touchdown {one.touchdown}",
                ("beyond a limit",) if one.outcome == "out of bound" else (),
            )
            for one in readings
        ),
        limits=limits,
        ewma=nowhere,
        ewma_lower=nowhere,
        ewma_upper=nowhere,
        ewma_signals=(),
        bound_lower=-control.record.bound,
        bound_upper=control.record.bound,
        forecast=None,
        forecast_text="",
        trend_text="",
        segments=(Segment(0, len(readings) - 1, "", limits),),
    )
    return control_chart(
        address=addresses.drawing(addresses.station(control.station), metric.address),
        title=f"Control die {control.record.id}: {name}, from its reference",
        description=f"{len(readings)} readings over time, with control limits of individuals and"
        " the hatched region beyond the declared bound.",
        metric=metric,
    )
