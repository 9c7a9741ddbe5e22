"""What is wrong with a curve as a whole: range changes, settling, self-heating, compliance.

Each test is passed by a sound curve but for one in about 100,000 (normal noise): a flag is worth
looking at. A curve too short for a test has no flag from it.
"""

from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy import stats

from sitegen.compute.dc.curves import Curves, measured_points
from sitegen.compute.dc.fits import line
from sitegen.model.arrays import BoolArray, FloatArray

Flag = Literal[
    "step at a range change", "incomplete settling", "self-heating", "compliance reached"
]
FLAGS: tuple[Flag, ...] = (
    "step at a range change",
    "incomplete settling",
    "self-heating",
    "compliance reached",
)

ONE_IN = 1e-5
"""Probability of a flag on a sound curve that each test is made for."""
EACH_SIDE = 5
"""Points before and after a range change that are compared."""
FALL = 0.005
"""Fall of a saturated current, as its share, that self-heating is recognised from."""


def flags_of(
    curves: Curves,
    again: FloatArray | None,
    ranges: npt.NDArray[np.object_],
    accuracy: tuple[FloatArray, FloatArray],
    output: bool,
) -> dict[Flag, BoolArray]:
    """(n,) for each flag whether a curve has it.

    again: (n, p) second readings. ranges: (n, p). accuracy: relative and offset standard
    uncertainty of each reading, (n, p), 0 where not declared. output: the swept axis is the drain
    voltage of a transistor.
    """
    n = len(curves.swept)
    none = np.zeros(n, dtype=bool)
    return {
        "step at a range change": range_steps(curves, ranges, *accuracy),
        "incomplete settling": none if again is None else unsettled(curves, again),
        "self-heating": self_heating(curves) if output else none,
        "compliance reached": np.asarray(curves.in_compliance.any(axis=1)),
    }


def range_steps(
    curves: Curves, ranges: npt.NDArray[np.object_], relative_u: FloatArray, offset_u: FloatArray
) -> BoolArray:
    """Whether the reading jumps where its range changes, by more than the ranges' accuracies.

    Through the logarithms of the five readings on each side goes a cubic with a step at the
    change. The step must exceed twice the standard uncertainty that the two ranges' accuracies
    give it, and beyond that what noise explains; noise is that of the curve or, where larger, the
    median over all curves with the same change. Readings on both sides must be above the floor.
    """
    flagged = np.zeros(len(curves.swept), dtype=bool)
    good = curves.usable & measured_points(curves) & (curves.measured != 0)
    differ = ranges[:, :-1] != ranges[:, 1:]
    rows, before = np.nonzero(differ & good[:, :-1] & good[:, 1:])
    if not len(rows):
        return flagged
    index = before[:, None] + np.arange(1 - EACH_SIDE, EACH_SIDE + 1)
    held = np.clip(index, 0, curves.swept.shape[1] - 1)
    row = rows[:, None]
    after = np.arange(2 * EACH_SIDE) >= EACH_SIDE
    side = np.where(after, before[:, None] + 1, before[:, None])
    inside = (index == held) & good[row, held] & (ranges[row, held] == ranges[row, side])
    y = curves.measured[row, held]
    inside &= np.sign(y) == np.sign(y[:, [EACH_SIDE]])
    step, u_unit, s, freedom = _step(curves.swept[row, held], np.log(np.abs(y)), inside, after)
    enough = (inside[:, :EACH_SIDE].sum(axis=1) >= 3) & (inside[:, EACH_SIDE:].sum(axis=1) >= 3)
    enough &= freedom > 0
    last = before + 1
    size = np.abs(curves.measured[rows, last])
    own = np.hypot(relative_u[rows, before], relative_u[rows, last])
    own = np.hypot(own, np.hypot(offset_u[rows, before], offset_u[rows, last]) / size)
    pairs = np.array(
        [f"{a} | {b}" for a, b in zip(ranges[rows, before], ranges[rows, last], strict=True)]
    )
    for pair in np.unique(pairs[enough]):
        mine = enough & (pairs == pair)
        middle = stats.chi2.median(freedom[mine]) / freedom[mine]
        noise = np.sqrt(np.median(s[mine] ** 2 / middle))
        limit = stats.t.isf(ONE_IN / 2, freedom[mine].sum())
        beyond = limit * np.maximum(s[mine], noise) * u_unit[mine]
        flagged[rows[mine][np.abs(step[mine]) > 2 * own[mine] + beyond]] = True
    return flagged


def _step(
    x: FloatArray, y: FloatArray, inside: BoolArray, after: BoolArray
) -> tuple[FloatArray, FloatArray, FloatArray, npt.NDArray[np.int64]]:
    """Step between two halves that share a cubic: its size, its u for unit noise, noise, freedom.

    x, y, inside: (b, 2k); after: (2k,).
    """
    middle = (x[:, EACH_SIDE - 1] + x[:, EACH_SIDE]) / 2
    d = np.where(inside, x - middle[:, None], 0.0)
    d = d / np.maximum(np.abs(d).max(axis=1), np.finfo(float).tiny)[:, None]
    powers = [d**k for k in range(4)]
    design = np.stack([*powers, np.broadcast_to(after, d.shape)], axis=-1) * inside[..., None]
    inverse = np.linalg.pinv(design)
    filled = np.where(inside, y, 0.0)
    c = np.einsum("bkp,bp->bk", inverse, filled)
    left = np.where(inside, filled - np.einsum("bpk,bk->bp", design, c), 0.0)
    freedom = np.maximum(inside.sum(axis=1) - design.shape[-1], 0)
    s = np.sqrt((left**2).sum(axis=1) / np.maximum(freedom, 1))
    return c[:, -1], np.sqrt((inverse[:, -1] ** 2).sum(axis=1)), s, freedom


def unsettled(curves: Curves, again: FloatArray) -> BoolArray:
    """Whether second readings differ from the first by one and the same tendency.

    Student's t of the relative differences over the curve's usable points, five at least.
    """
    both = curves.usable & measured_points(curves) & np.isfinite(again) & (curves.measured != 0)
    n = both.sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(both, (again - curves.measured) / np.abs(curves.measured), 0.0)
        mean = share.sum(axis=1) / n
        spread = np.sqrt((np.where(both, share - mean[:, None], 0.0) ** 2).sum(axis=1) / (n - 1))
        t = np.abs(mean) * np.sqrt(n) / spread
    limit = stats.t.isf(ONE_IN / 2, np.maximum(n - 1, 1))
    return np.asarray((n >= 5) & (t > limit))


def self_heating(curves: Curves) -> BoolArray:
    """Whether the current falls while the power grows, at the upper end of an output curve.

    The slope of the line through the last third of the points, five at least, is negative beyond
    its noise, and the current falls by at least half a percent along it. At low power a warmer
    channel changes less than that and nothing is said.
    """
    good = curves.usable & measured_points(curves)
    order = np.cumsum(good, axis=1)
    total = order[:, -1:]
    third = np.maximum((total + 2) // 3, 5)
    used = good & (order > total - third) & (total >= 5)
    fit = line(curves.swept, curves.measured, used)
    slope = fit.c[:, 1]
    u = fit.s_plain * np.sqrt(fit.shape[:, 1, 1])
    limit = stats.t.isf(ONE_IN, np.maximum(fit.freedom, 1))
    power = curves.swept * curves.measured
    first = np.where(used, curves.swept, np.inf).min(axis=1, initial=np.inf)
    last = np.where(used, curves.swept, -np.inf).max(axis=1, initial=-np.inf)
    rising = line(curves.swept, power, used).c[:, 1] > 0
    with np.errstate(invalid="ignore"):
        fall = -slope * (last - first) / fit.c[:, 0]
        return np.asarray(
            (fit.freedom > 0) & (slope < -limit * u) & (fall > FALL) & (first > 0) & rising
        )
