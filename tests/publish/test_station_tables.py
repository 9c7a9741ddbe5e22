"""Tables of what is followed: every point with its limits, and what lies between measurements."""

from datetime import UTC, datetime, timedelta

from sitegen.model.followed_results import (
    ControlLimits,
    Metric,
    Point,
    Segment,
    Spread,
    StationFollowed,
)
from sitegen.publish.station_tables import contents

START = datetime(2026, 4, 20, 8, 0, tzinfo=UTC)
NAN = float("nan")
LIMITS = ControlLimits(2.0, 1.0, 3.0, 1 / 3, 2, True)
COUNTS = {"repeatability": 4, "drift": 1, "reproducibility": 2, "difference": 3, "left out": 1}


def metric() -> Metric:
    """Two points with limits, then an exchange and one without."""
    values = (2.0, 3.5, 9.0)
    return Metric(
        name="noise",
        unit="1",
        address="noise",
        points=tuple(
            Point(
                START + timedelta(days=day),
                value,
                None,
                f"C{day}",
                ("beyond a limit",) * (day == 1),
            )
            for day, value in enumerate(values)
        ),
        limits=None,
        ewma=(2.0, 2.3, NAN),
        ewma_lower=(1.8, 1.8, NAN),
        ewma_upper=(2.2, 2.2, NAN),
        ewma_signals=(1,),
        bound_lower=None,
        bound_upper=10.0,
        forecast=None,
        forecast_text="",
        trend_text="",
        segments=(Segment(0, 1, "", LIMITS), Segment(2, 2, "probe: cleaned", None)),
    )


def test_every_point_has_its_stretch_and_its_limits() -> None:
    spread = Spread("line", "s21", 0.1, None, 0.2, 0.3, COUNTS)
    tables = {
        name: table for name, _, table in contents([StationFollowed("A", (metric(),), (spread,))])
    }
    rows = tables["followed"].to_pylist()
    assert [row["segment"] for row in rows] == [1, 1, 2]
    assert [row["signals"] for row in rows] == ["", "beyond a limit, EWMA", ""]
    assert [row["control_upper"] for row in rows] == [3.0, 3.0, None]
    assert [row["ewma"] for row in rows] == [2.0, 2.3, None]
    assert rows[1]["at"] == START + timedelta(days=1)
    (row,) = tables["spreads"].to_pylist()
    assert (row["drift"], row["n_drift"], row["n_left_out"]) == (None, 1, 1)


def test_nothing_followed_has_no_table() -> None:
    assert list(contents([StationFollowed("A", (), ())])) == []
