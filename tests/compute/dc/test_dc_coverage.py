"""The stated 95 % intervals of figures from curves hold the truth in 95 % of simulated curves.

Noise, and the instrument's share and offset, are drawn for each curve (`coverage_curves`). The
reduced form takes 1,500 curves of a figure and asks for what a binomial count of so many, at 95 %,
exceeds one time in a thousand; the full form takes 20,000 and asks for 93 to 97 % of each figure
and 94 to 96 % of all together. A u that is a tenth too small holds 92.2 %: both refuse it, of all
figures together.
"""

from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from tests.compute.dc.coverage_curves import cases, distances, share_held

REDUCED, IN_FULL = 1_500, 20_000
AT_ONCE = 500
"""Curves that are extracted together, as those of a wafer are."""
BAND, NARROW_BAND = (0.93, 0.97), (0.94, 0.96)
TOO_SMALL = 0.9
RESULTS = Path(__file__).parent.parent / "dc_coverage.md"


def held(n: int) -> dict[str, tuple[float, float]]:
    """Of each figure the share of intervals that hold the truth, as stated and a tenth smaller."""
    found = {}
    for name, case in cases().items():
        parts = [distances(case, AT_ONCE, seed) for seed in range(n // AT_ONCE)]
        distance = np.concatenate(parts)
        found[name] = share_held(distance), share_held(distance, TOO_SMALL)
    return found


def pooled(found: dict[str, tuple[float, float]], which: int) -> float:
    return float(np.mean([shares[which] for shares in found.values()]))


def inside(share: float, band: tuple[float, float]) -> bool:
    return band[0] <= share <= band[1]


def test_truth_is_held_as_often_as_stated() -> None:
    found = held(REDUCED)
    low, high = (stats.binom.ppf(p, REDUCED, 0.95) / REDUCED for p in (5e-4, 0.9995))
    assert {name: share for name, (share, _) in found.items() if not low <= share <= high} == {}
    assert inside(pooled(found, 0), NARROW_BAND)
    assert not inside(pooled(found, 1), NARROW_BAND)


@pytest.mark.full
def test_truth_is_held_as_often_as_stated_in_full() -> None:
    """Writes the table of results as well."""
    found = held(IN_FULL)
    RESULTS.write_text(_table(found), encoding="utf-8")
    assert {name: share for name, (share, _) in found.items() if not inside(share, BAND)} == {}
    assert inside(pooled(found, 0), NARROW_BAND)
    assert not inside(pooled(found, 1), NARROW_BAND)


def _table(found: dict[str, tuple[float, float]]) -> str:
    rows = "\n".join(
        f"| {name} | {100 * share:.2f} % | {100 * small:.2f} % |"
        for name, (share, small) in found.items()
    )
    return f"""\
# Coverage of the uncertainty of figures from curves

Share of simulated curves whose stated 95 % interval (extraction and instrument) holds the truth,
{IN_FULL:,} curves of a figure; written by `python -m pytest -m full tests/compute/dc`. Right-hand
column: with u a tenth too small. "straight": on the square law, where the slope is greatest
everywhere.

| figure | held | u a tenth too small |
|---|---|---|
{rows}
| **together** | {100 * pooled(found, 0):.2f} % | {100 * pooled(found, 1):.2f} % |
"""
