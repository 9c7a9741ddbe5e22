"""The same variances on every way back: dummies worked out once or not, in either precision.

Laws alone; that the variances are right is shown against differences (`test_derivatives`) and by
coverage (`tests/compute/test_device_coverage.py`).
"""

from dataclasses import replace

import numpy as np
import pytest

from sitegen.compute.rf import propagated
from sitegen.compute.rf.entries import as_matrices, by_entry
from sitegen.compute.rf.propagated import Propagated, Swept, propagate
from sitegen.compute.rf.taken import DEVICE, Corrected, take
from sitegen.model.arrays import FloatArray
from sitegen.model.device import DUMMIES_OF, DeembeddingMethod
from tests.compute.device_chain import FREQUENCY_HZ, WINDOW, Case, Measured, measured
from tests.compute.rf import forward as fw

CASES = (
    Case("transistor", "gate resistance", window_hz=WINDOW),
    Case("transistor", "maximum frequency of oscillation from U", window_hz=WINDOW),
    Case("transistor", "stability factor mu", 10e9),
    Case("transistor", "transconductance", 10.3e9),
    Case("inductor", "self-resonance"),
)
DRAWS = 5


def through(method: DeembeddingMethod, case: Case, shared: int) -> Measured:
    """Five sweeps with dummies of the first alone, as one sweep of each or as five copies."""
    one = measured(case, DRAWS, 3)
    dummies = one.swept.device.dummies
    assert dummies is not None
    first = {part: each[:1] for part, each in dummies.items()}
    like = {
        **first,
        "pad": as_matrices(0.9 * by_entry(first["open"])),
        "thru": fw.line_s(FREQUENCY_HZ, 0.01 + 1j * FREQUENCY_HZ / 200e9, 55.0)[np.newaxis],
        "line": fw.line_s(FREQUENCY_HZ, 0.02 + 1j * FREQUENCY_HZ / 60e9, 55.0)[np.newaxis],
    }
    parts = {name: np.repeat(like[name], shared, axis=0) for name in DUMMIES_OF[method]}
    device = Corrected(one.swept.device.s, method, parts)
    taken = take(one.wanted, FREQUENCY_HZ, device.stripped(50.0))
    assert taken is not None
    swept = Swept(FREQUENCY_HZ, device, dict.fromkeys((DEVICE, *parts), "CAL"))
    return replace(one, taken=taken, swept=swept)


def parts_of(found: Propagated) -> dict[str, FloatArray]:
    """Every variance that is told."""
    assert found.dummies is not None
    return {**found.groups, "dummies": found.dummies, "departure": found.departure}


def largest_difference(one: Propagated, other: Propagated) -> float:
    """Of any variance, in shares of the whole one."""
    first, second = parts_of(one), parts_of(other)
    whole = one.calibration + one.own + first["dummies"]
    assert set(first) == set(second) and np.isfinite(whole).any()
    return float(np.nanmax([np.abs(first[name] - second[name]) / whole for name in first]))


@pytest.mark.parametrize("method", DUMMIES_OF)
@pytest.mark.parametrize("case", CASES, ids=lambda case: case.figure)
def test_shared_dummies_worked_out_once_are_those_of_each_value(
    method: DeembeddingMethod, case: Case, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(propagated, "PRECISION", np.complex128)
    once, each = (through(method, case, shared).propagated() for shared in (1, DRAWS))
    assert largest_difference(once, each) < 1e-10


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.figure)
@pytest.mark.parametrize("shared", [1, DRAWS])
def test_single_precision_is_enough(
    case: Case, shared: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = through("open-short", case, shared)
    single = one.propagated()
    monkeypatch.setattr(propagated, "PRECISION", np.complex128)
    assert 0.0 < largest_difference(one.propagated(), single) < 1e-5


def test_two_calibrations_do_not_cancel(monkeypatch: pytest.MonkeyPatch) -> None:
    """Dummies under another calibration add their sources' variances to the device's own."""
    one = through("open-short", CASES[2], 1)
    names = {DEVICE: "CAL", "open": "OTHER", "short": "OTHER"}
    apart = replace(one.swept, calibrations=names)
    both = {"CAL": one.calibrations["CAL"], "OTHER": one.calibrations["CAL"]}
    once, each = (
        propagate(one.wanted, one.taken, swept, both, shared=True)
        for swept in (apart, replace(apart, device=through("open-short", CASES[2], 5).swept.device))
    )
    assert largest_difference(once, each) < 1e-5
    assert (once.calibration != one.propagated().calibration).all()
