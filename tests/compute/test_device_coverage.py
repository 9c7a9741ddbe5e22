"""The stated 95 % intervals of devices' figures hold the truth in 95 % of simulated measurements.

`device_chain` draws the errors of a calibration, of the sweep of a device behind pads, and of its
open and short dummies. Intervals (k = 1.96) are of what is propagated; the truth is what the same
estimator takes from the device's own S-parameters. What taking a value over a window adds
(`u_extraction`) is for a device that does not obey the estimator's law, and nothing that is drawn:
with it an interval holds no less. Of an extrapolation along a law that the device obeys it holds
no more than 97 % either, as what is drawn tilts the gain, too, and counts once.

The full form asks for 93 to 97 % of each figure over 4,000 draws, and for 94 to 96 % of all of them
together. A u that is a tenth too small holds 92.2 %: refused. The reduced form asks of each figure
for no more than its draws can tell: what a binomial count at 95 % exceeds one time in a thousand.
"""

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from sitegen.compute.rf import propagated
from sitegen.compute.rf.figures import FIGURES, Estimate
from sitegen.compute.rf.propagated import LARGEST_BEND
from sitegen.compute.rf.taken import take
from sitegen.model.arrays import FloatArray
from sitegen.model.figures import Place
from tests.compute.device_chain import (
    CASES,
    FREQUENCY_HZ,
    WINDOW,
    Z_REF_OHM,
    Case,
    Covered,
    covered,
    measured,
)

REDUCED, IN_FULL = 250, 4_000
BAND, NARROW_BAND = (0.93, 0.97), (0.94, 0.96)
TOO_SMALL = 0.9
RESULTS = Path(__file__).with_name("device_coverage.md")


def test_truth_is_held_as_often_as_stated() -> None:
    found = [covered(case, REDUCED, seed=5) for case in CASES]
    low, high = (stats.binom.ppf(p, REDUCED, 0.95) / REDUCED for p in (5e-4, 0.9995))
    shares = {(one.case.figure, one.case.text): one.share() for one in found}
    assert {case: share for case, share in shares.items() if not low <= share <= high} == {}
    assert NARROW_BAND[0] <= _pooled(found) <= NARROW_BAND[1]
    assert _pooled(found, TOO_SMALL) < NARROW_BAND[0]
    assert min(_whole(one) for one in found) >= low
    assert min(one.stated.mean() for one in found) > 0.9


@pytest.mark.full
def test_truth_is_held_as_often_as_stated_in_full() -> None:
    """Writes the table of results as well."""
    found = [covered(case, IN_FULL, seed=6) for case in CASES]
    bent = [covered(case, IN_FULL, seed=7) for case in BENT]
    RESULTS.write_text(_table(found, bent), encoding="utf-8")
    outside = [one for one in found if not BAND[0] <= one.share() <= BAND[1]]
    assert [(one.case, one.share()) for one in outside] == []
    assert NARROW_BAND[0] <= _pooled(found) <= NARROW_BAND[1]
    assert _pooled(found, TOO_SMALL) < NARROW_BAND[0]
    assert min(_whole(one) for one in found) >= BAND[0]
    assert max(_whole(one) for one in found if one.case in LAWFUL) <= BAND[1]


LAWFUL = tuple(
    Case("transistor", figure, window_hz=WINDOW)
    for figure in (
        "transit frequency by extrapolation",
        "maximum frequency of oscillation from U",
    )
)
"""The hybrid-pi's |h21| falls by 19.993 dB per decade there, its U by 20 exactly."""


@pytest.mark.parametrize("case", LAWFUL, ids=lambda case: case.figure)
def test_a_slope_that_errors_of_measurement_tilt_is_counted_once(case: Case) -> None:
    """1,000 draws: a share of 95 % scatters by 0.7 %, a standard deviation by 2 %."""
    found = covered(case, 1_000, seed=8)
    scatter = found.miss.std(ddof=1)
    assert np.median(found.u) == pytest.approx(scatter, rel=0.1)
    assert found.u.mean() == pytest.approx(scatter, rel=0.15)
    # A departure is taken for the device's where its sources make one as large in one of 20.
    assert np.mean(found.u > 1.15 * found.u_propagated) < 0.1
    assert BAND[0] <= _whole(found) <= BAND[1]


@pytest.mark.parametrize("case", LAWFUL, ids=lambda case: case.figure)
def test_a_departure_is_propagated_like_a_value(
    case: Case, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its variance is that of a figure with its value and weights, and its spread over draws."""
    monkeypatch.setattr(propagated, "PRECISION", np.complex128)

    def of_departure(quantity: FloatArray, frequency_hz: FloatArray, place: Place) -> Estimate:
        estimate = FIGURES[case.figure].estimate(quantity, frequency_hz, place)
        departure = estimate.departure
        assert departure is not None
        return replace(estimate, value=departure.value, weights=departure.weights)

    one = measured(case, 1_000, seed=8)
    wanted = replace(one.wanted, figure=replace(one.wanted.figure, estimate=of_departure))
    taken = take(wanted, FREQUENCY_HZ, one.swept.device.stripped(Z_REF_OHM))
    assert taken is not None
    itself = replace(one, wanted=wanted, taken=taken).propagated()
    assert itself.dummies is not None
    found, stated = one.propagated().departure, itself.stated
    assert stated.mean() > 0.5
    total = itself.calibration + itself.own + itself.dummies
    assert found[stated] == pytest.approx(total[stated], rel=1e-9)
    spread = taken.estimate.value.std(ddof=1)
    assert np.sqrt(np.median(found)) == pytest.approx(spread, rel=0.1)


def test_a_device_that_falls_by_another_slope_is_covered() -> None:
    """Its |h21| of 15.9 at 10 GHz meets 0 dB a third further than along -20 dB per decade."""
    crossing_hz = 10e9 * (0.1 / (2.0 * np.pi * 10e9 * 100e-15)) ** (1.0 / 0.9)
    case = Case("transistor off the law", LAWFUL[0].figure, window_hz=WINDOW)
    found = covered(case, REDUCED, seed=9, truth=crossing_hz)
    assert found.miss.mean() < -0.2 * crossing_hz
    assert not (np.abs(found.miss) < 2.0 * found.u_propagated).any()
    assert np.mean(np.abs(found.miss) < 2.0 * found.u) > BAND[0]


BENT = (
    Case("capacitor", "capacitor quality", 10e9),
    Case("capacitor", "capacitor quality", 4e9),
    Case("capacitor", "capacitor quality", 2e9),
)
"""Figures where a declared error changes much more, or less, than in proportion: the quality of a
capacitor whose resistance is small against its impedance."""


def test_a_figure_that_bends_within_its_uncertainty_has_none_stated() -> None:
    quality = covered(BENT[-1], REDUCED, seed=5)
    assert quality.stated.mean() < 0.1


def _whole(one: Covered) -> float:
    return float(np.mean(one.with_extraction[one.stated] <= 1.0))


def _pooled(found: list[Covered], scale: float = 1.0) -> float:
    return float(np.mean([one.share(scale) for one in found]))


def _row(one: Covered) -> str:
    shares = (one.share(), one.share(TOO_SMALL), _whole(one))
    held = " | ".join(f"{100 * each:.2f} %" if one.stated.mean() > 0.01 else "" for each in shares)
    return (
        f"| {one.case.device} | {one.case.figure} | {one.case.text} "
        f"| {100 * one.stated.mean():.1f} % | {held} |"
    )


def _table(found: list[Covered], bent: list[Covered]) -> str:
    return f"""\
# How often the stated 95 % intervals of devices' figures hold the truth

Simulated; written on {date.today()} by the full form of `test_device_coverage.py`:

    python -m pytest -m full tests/compute/test_device_coverage.py

{IN_FULL} draws of each figure: the error terms from a SOLT calibration's sources; a device behind
pads, its open and its short, each with its own touchdown, paths, linearity and noise. "Stated" is
the share of draws with a stated uncertainty; "held" of these, by what is propagated (k = 1.96);
"with 0.9 u" is the negative control, every u a tenth too small; the last column adds the part of
the extraction, which is for a device that does not obey the estimator's law (this one does).

| device | figure | taken at | stated | held | with 0.9 u | with the extraction |
|---|---|---|---|---|---|---|
{chr(10).join(_row(one) for one in found)}

All figures together: {100 * _pooled(found):.2f} %;
with 0.9 u {100 * _pooled(found, TOO_SMALL):.2f} %.

Where the sources together change a value by more than {100 * LARGEST_BEND:.0f} % more or less than
in proportion to them, no uncertainty is stated. Figures where that happens at the same errors
(where few draws have one, an error took these to where the figure bends less: the truth is not
there, and such values do not stand out by themselves):

| device | figure | taken at | stated | held | with 0.9 u | with the extraction |
|---|---|---|---|---|---|---|
{chr(10).join(_row(one) for one in bent)}
"""
