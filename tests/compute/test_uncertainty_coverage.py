"""The stated 95 % regions and intervals hold the truth in 95 % of simulated calibrations.

`coverage_chain` draws every source from its declared distribution, with a forward model of its
own. Regions are of corrected S11 and S21 of a mismatched attenuator (two components, k = 2.45);
intervals (k = 1.96) of the load that LRRM fits and of the line constants that TRL finds.

The full form asks for 93 to 97 % of each quantity, over 2,500 calibrations of a kind, and
for 94 to 96 % of a kind's quantities together. A u that is a tenth too small holds 91.2 % in a
region and 92.2 % in an interval: the full form must, and does, refuse it. The reduced form takes
fewer calibrations and asks for no more than they can tell: what a binomial count of so many, at
95 %, exceeds one time in a thousand.
"""

from datetime import date
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from tests.compute.coverage_chain import KINDS, Covered, covered

REDUCED = {
    "one-port": 100,
    "SOLT": 50,
    "LRRM": 60,
    "LRRM with capacitance": 30,
    "TRL": 60,
    "multiline TRL": 40,
}
IN_FULL = 2_500
BAND, NARROW_BAND = (0.93, 0.97), (0.94, 0.96)
TOO_SMALL = 0.9
RESULTS = Path(__file__).with_name("uncertainty_coverage.md")


@pytest.mark.parametrize("kind", REDUCED)
def test_truth_is_held_as_often_as_stated(kind: str) -> None:
    found = covered(kind, range(REDUCED[kind]))
    assert found[0].unsolved <= 0.02 * REDUCED[kind]
    shares = {one.quantity: one.share() for one in found}
    low, high = (stats.binom.ppf(p, REDUCED[kind], 0.95) / REDUCED[kind] for p in (5e-4, 0.9995))
    assert {name: share for name, share in shares.items() if not low <= share <= high} == {}


@pytest.mark.full
def test_truth_is_held_as_often_as_stated_in_full() -> None:
    """Writes the table of results as well."""
    found = {kind: covered(kind, range(IN_FULL)) for kind in KINDS}
    RESULTS.write_text(_table(found), encoding="utf-8")
    every = [one for of_kind in found.values() for one in of_kind]
    outside = [one for one in every if not _within(one.share(), BAND)]
    assert [(one.kind, one.quantity, one.share()) for one in outside] == []
    pooled = {kind: _pooled(of_kind) for kind, of_kind in found.items()}
    assert {kind: share for kind, share in pooled.items() if not _within(share, NARROW_BAND)} == {}
    planted = {kind: _pooled(of_kind, TOO_SMALL) for kind, of_kind in found.items()}
    assert {kind: share for kind, share in planted.items() if _within(share, NARROW_BAND)} == {}


def _within(share: float, band: tuple[float, float]) -> bool:
    return band[0] <= share <= band[1]


def _pooled(found: list[Covered], scale: float = 1.0) -> float:
    return float(np.mean([one.share(scale) for one in found]))


def _table(found: dict[str, list[Covered]]) -> str:
    rows = "\n".join(
        f"| {one.kind} | {one.quantity} | {len(one.distance)} | {100 * one.share():.2f} % "
        f"| {100 * one.share(TOO_SMALL):.2f} % |"
        for of_kind in found.values()
        for one in of_kind
    )
    together = "\n".join(
        f"| {kind} | {of_kind[0].unsolved} | {100 * _pooled(of_kind):.2f} % "
        f"| {100 * _pooled(of_kind, TOO_SMALL):.2f} % |"
        for kind, of_kind in found.items()
    )
    return f"""\
# How often the stated 95 % regions and intervals hold the truth

Simulated; written on {date.today()} by the full form of `test_uncertainty_coverage.py`:

    python -m pytest -m full tests/compute/test_uncertainty_coverage.py

Each calibration draws its standards, contacts, moved paths, linearity and noise from the
distributions that its record declares, and a device's own sweep likewise; 21 frequencies from
10 to 110 GHz. Regions of corrected S-parameters (k = 2.45), intervals of the fitted load and of
line constants (k = 1.96). The last column is the negative control: every u a tenth too small.
"Not solved" are calibrations that say of themselves that they are not determined.

| kind | quantity | calibrations | held | with 0.9 u |
|---|---|---|---|---|
{rows}

| kind | not solved | all quantities | with 0.9 u |
|---|---|---|---|
{together}
"""
