"""Brown and Forsythe's test: a published example, scipy, and its level by simulation."""

import numpy as np
import pytest
from scipy.stats import binom, levene

from sitegen.compute.stats.equal_spreads import equal_spreads

# GEAR.DAT of the NIST/SEMATECH e-Handbook, 1.3.5.10: diameters of gears, ten batches of ten (data
# quoted from memory).
GEARS = np.array(
    [
        [1.006, 0.996, 0.998, 1.000, 0.992, 0.993, 1.002, 0.999, 0.994, 1.000],
        [0.998, 1.006, 1.000, 1.002, 0.997, 0.998, 0.996, 1.000, 1.006, 0.988],
        [0.991, 0.987, 0.997, 0.999, 0.995, 0.994, 1.000, 0.999, 0.996, 0.996],
        [1.005, 1.002, 0.994, 1.000, 0.995, 0.994, 0.998, 0.996, 1.002, 0.996],
        [0.998, 0.998, 0.982, 0.990, 1.002, 0.984, 0.996, 0.993, 0.980, 0.996],
        [1.009, 1.013, 1.009, 0.997, 0.988, 1.002, 0.995, 0.998, 0.981, 0.996],
        [0.990, 1.004, 0.996, 1.001, 0.998, 1.000, 1.018, 1.010, 0.996, 1.002],
        [0.998, 1.000, 1.006, 1.000, 1.002, 0.996, 0.998, 0.996, 1.002, 1.006],
        [1.002, 0.998, 0.996, 0.995, 0.996, 1.004, 1.004, 0.998, 0.999, 0.991],
        [0.991, 0.995, 0.984, 0.994, 0.997, 0.997, 0.991, 0.998, 1.004, 0.997],
    ]
)


def test_published_example() -> None:
    """The e-Handbook prints W = 1.705910, about the medians (quoted from memory)."""
    found = equal_spreads(list(GEARS))
    assert found is not None
    assert found[0] == pytest.approx(1.705910, abs=1e-5)
    assert 0.05 < found[1] < 0.1, "not refused at 5 % (critical value 1.9855)"


def test_scipys_levene() -> None:
    rng = np.random.default_rng(1)
    groups = [1e6 + scale * rng.normal(size=n) for scale, n in ((1, 8), (2, 31), (3, 12))]
    expected = levene(*groups, center="median")
    assert equal_spreads(groups) == pytest.approx(tuple(expected), rel=1e-6)
    assert equal_spreads([*groups, np.zeros(0)]) == equal_spreads(groups)


@pytest.mark.parametrize("groups", [[], [[1.0, 2.0]], [[1.0], [2.0]], [[0.1] * 3, [0.3] * 4]])
def test_nothing_to_test(groups: list[list[float]]) -> None:
    assert equal_spreads(groups) is None


@pytest.mark.parametrize("law", ["normal", "exponential"])
def test_it_holds_its_level(law: str) -> None:
    """1000 times three groups of 40 alike; of skewed values too."""
    rng = np.random.default_rng(2)
    drawn = (
        rng.normal(size=(1000, 3, 40)) if law == "normal" else rng.exponential(size=(1000, 3, 40))
    )
    found = [equal_spreads(list(one)) for one in drawn]
    refused = sum(one is not None and one[1] < 0.05 for one in found)
    assert binom.ppf(0.0005, 1000, 0.03) <= refused <= binom.ppf(0.9995, 1000, 0.055)
