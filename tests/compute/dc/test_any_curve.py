"""Whatever the readings are, each figure has a number or a reason, and no estimator fails."""

import numpy as np
import pytest

from sitegen.compute.dc.accuracy import Instruments, RangeAccuracy, instrument_uncertainty
from sitegen.compute.dc.curves import Curves
from sitegen.compute.dc.estimates import Estimate
from sitegen.compute.dc.figures import extract
from sitegen.compute.dc.flags import flags_of
from sitegen.model.arrays import BoolArray, FloatArray
from sitegen.model.curve_figures import CURVE_FIGURE_NEEDS
from sitegen.model.extraction import FromCurve
from tests.compute.dc import laws
from tests.compute.dc.coverage_curves import figure

PLACES = {
    "current_a": 1e-6,
    "swept_at": 0.5,
    "swept_window": (0.2, 0.9),
    "current_window_a": (1e-9, 1e-5),
    "stepped_pair": (0.1, 1.0),
}
FIGURES = [
    figure(name, **{need: PLACES[need] for need in needs})
    for name, needs in CURVE_FIGURE_NEEDS.items()
]
RELATIVE = RangeAccuracy(1e-2, 1e-9)


def readings(random: np.random.Generator, kind: int, swept: FloatArray) -> FloatArray:
    shape = swept.shape
    return (
        random.normal(size=shape),
        np.zeros(shape),
        np.full(shape, 1e-9),
        10.0 ** random.uniform(-13, -2, shape),
        laws.soft(swept, 0.4, 0.05),
    )[kind]


def any_curves(seed: int) -> Curves:
    """Sorted or not, constant, with gaps, in compliance or below the floor at random places."""
    random = np.random.default_rng(seed)
    shape = (2 * int(random.integers(1, 6)), int(random.integers(1, 25)))

    def somewhere() -> BoolArray:
        return np.asarray(random.random(shape) < 0.1 * random.integers(0, 3))

    swept = random.uniform(-1, 2, shape)
    if random.random() < 0.7:
        swept = np.sort(swept, axis=1)
    if random.random() < 0.1:
        swept = np.full(shape, 0.5)
    measured = readings(random, seed % 5, swept)
    swept, measured = (np.where(somewhere(), np.nan, one) for one in (swept, measured))
    stopped, below = somewhere(), somewhere()
    forced = bool(random.random() < 0.3)
    return laws.curves(
        swept,
        measured,
        in_compliance=stopped,
        below_floor=below,
        usable=np.isfinite(measured) & ~stopped & ~below,
        drain_v=np.where(random.random(shape[0]) < 0.5, np.nan, 0.05),
        swept_is_current=forced,
        measured_is_current=not forced,
    )


def check(curves: Curves, wanted: FromCurve, sign: int) -> None:
    def again(one: Curves) -> Estimate:
        return extract(one, wanted, sign)

    found = again(curves)
    np.testing.assert_array_equal(np.isfinite(found.value), found.no_value == "")
    ranges = np.full(curves.swept.shape, "R", dtype=object)
    instruments = Instruments({"R": RELATIVE}, RELATIVE)
    u = instrument_uncertainty(again, curves, found, ranges, instruments)
    assert u.shape == found.value.shape


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("seeds", [range(start, start + 10) for start in (0, 10, 20, 30)])
def test_each_figure_has_a_number_or_a_reason(seeds: range) -> None:
    for seed in seeds:
        curves = any_curves(seed)
        for wanted in FIGURES:
            check(curves, wanted, 1 if seed % 2 else -1)
        ranges = np.where(curves.swept < 0.5, "a", "b").astype(object)
        nothing = np.zeros(curves.swept.shape)
        flags_of(curves, curves.measured * 1.01, ranges, (nothing, nothing), True)
