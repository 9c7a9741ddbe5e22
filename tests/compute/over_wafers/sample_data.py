"""Samples of one parameter made from arrays, for tests of the statistics over wafers."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from sitegen.compute.over_wafers.samples import Sample
from sitegen.model.campaign import Parameter
from tests.compute.settings import parameter as declared

PITCH_MM = 10.0


def grid(radius: float) -> npt.NDArray[np.int64]:
    """(n, 2) die_x and die_y inside a circle of `radius` pitches, row by row."""
    side = np.arange(-int(radius), int(radius) + 1)
    x, y = np.meshgrid(side, side)
    inside = x**2 + y**2 <= radius**2
    return np.column_stack([x[inside], y[inside]])


def sample(
    values: Sequence[npt.ArrayLike],
    *,
    dies: Sequence[npt.NDArray[np.int64]] | None = None,
    u: float = np.nan,
    u_own: float = np.nan,
    u_shared: float = np.nan,
    outcome: Sequence[Sequence[str]] | None = None,
    **of_parameter: Any,
) -> Sample:
    """One array of values a wafer ('W1', 'W2', ...); dies row by row where none are given."""
    parts = [np.asarray(one, dtype=np.float64) for one in values]
    if dies is None:
        dies = [np.column_stack([np.arange(len(one)), np.zeros(len(one), int)]) for one in parts]
    value = np.concatenate([*parts, []])
    places = np.concatenate([*dies, np.zeros((0, 2), int)]).astype(np.int64)
    n = len(value)
    words = [word for one in outcome for word in one] if outcome else ["within"] * n
    return Sample(
        parameter=Parameter.model_validate(declared("P", **of_parameter)),
        condition="RT",
        wafers=tuple(f"W{place + 1}" for place in range(len(parts))),
        wafer=np.repeat(np.arange(len(parts)), [len(one) for one in parts]),
        die_x=places[:, 0],
        die_y=places[:, 1],
        x_mm=places[:, 0] * PITCH_MM,
        y_mm=places[:, 1] * PITCH_MM,
        site=np.full(n, "", dtype=object),
        value=value,
        u=np.full(n, u),
        u_own=np.full(n, u_own),
        u_shared=np.full(n, u_shared),
        outcome=np.array(words, dtype=object),
        calibration=np.full(n, "", dtype=object),
        measured_at=np.datetime64("2026-04-20T09:00:00", "us")
        + np.arange(n) * np.timedelta64(60, "s"),
        censored=np.zeros(len(parts), dtype=np.int64),
        without_standing=np.zeros(len(parts), dtype=np.int64),
    )
