"""Wafers simulated for correlations and trends: what is laid over them, and how they are touched.

Shares no code with what is measured: fields by a Cholesky root, surfaces by polynomials, paths by
sorting.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache

import numpy as np
import numpy.typing as npt

from sitegen.compute.over_wafers.samples import Sample
from tests.compute.over_wafers.sample_data import grid, sample

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]
CALIBRATION = "CAL"
MADE = {CALIBRATION: datetime(2026, 4, 20, 8, 0, tzinfo=UTC)}
RADIUS = 5.6
"""Pitches: 97 dies."""


def _nothing(dies: Places, rng: np.random.Generator) -> Floats:
    return np.zeros(len(dies))


def _plane_and_bowl(dies: Places, rng: np.random.Generator) -> Floats:
    x, y = (dies / np.abs(dies).max()).T
    a, b, c = rng.normal(size=3)
    return np.asarray(a * x + b * y + c * (x**2 + y**2 - 0.5))


def _edge(dies: Places, rng: np.random.Generator) -> Floats:
    """Higher than the rest outside 80 % of the radius, which no bowl describes."""
    radius = np.hypot(*dies.T)
    return np.where(radius > 0.8 * radius.max(), 2.0, 0.0)


@cache
def _root(radius: float, length: float) -> Floats:
    x, y = grid(radius).T
    distance = np.hypot(x[:, None] - x, y[:, None] - y)
    return np.linalg.cholesky(np.exp(-distance / length) + 1e-9 * np.eye(len(x)))


def field(length: float, radius: float = RADIUS) -> Callable[[Places, np.random.Generator], Floats]:
    """Values whose correlation falls by e over `length` pitches, of standard deviation 1."""

    def drawn(dies: Places, rng: np.random.Generator) -> Floats:
        return np.asarray(_root(radius, length) @ rng.normal(size=len(dies)))

    return drawn


SURFACES: Mapping[str, Callable[[Places, np.random.Generator], Floats]] = {
    "nothing": _nothing,
    "plane and bowl": _plane_and_bowl,
    "high edge": _edge,
    "field over 2 dies": field(2.0),
}
PATHS: Mapping[str, Callable[[Places, np.random.Generator], Places]] = {
    "at random": lambda dies, rng: rng.permutation(len(dies)),
    "row after row": lambda dies, _: np.lexsort((dies[:, 0], dies[:, 1])),
    "rows to and fro": lambda dies, _: np.lexsort(
        (dies[:, 0] * np.where(dies[:, 1] % 2, -1, 1), dies[:, 1])
    ),
    "from the centre": lambda dies, _: np.lexsort(
        (np.arctan2(dies[:, 1], dies[:, 0]), np.hypot(dies[:, 0], dies[:, 1]).round(3))
    ),
    "every third row": lambda dies, _: np.lexsort((dies[:, 0], dies[:, 1], dies[:, 1] % 3)),
}
"""Order in which the dies are touched, as indices."""


def touched(
    surface: str, path: str, wafers: int, seed: int, slope: float = 0.0, noise: float = 1.0
) -> Sample:
    """Wafers with noise of their own, a minute a die, on one calibration made beforehand.

    slope: of the values with each touchdown.
    """
    rng = np.random.default_rng(seed)
    dies = grid(RADIUS)
    values, times = [], []
    for _ in range(wafers):
        number = np.empty(len(dies), dtype=np.int64)
        number[PATHS[path](dies, rng)] = np.arange(len(dies))
        drawn = SURFACES[surface](dies, rng) + noise * rng.normal(size=len(dies))
        values.append(drawn + slope * number)
        times.append(number)
    made = sample(values, dies=[dies] * wafers)
    start = np.datetime64("2026-04-20T09:00:00", "us")
    at = start + np.concatenate(times) * np.timedelta64(60, "s")
    return replace(made, measured_at=at, calibration=np.full(made.n, CALIBRATION, dtype=object))
