"""The same variances on every way back: dummies worked out once or not, in either precision, one
figure or several at a time, at the edges too.

Laws alone; that the variances are right is shown against differences (`test_derivatives`) and by
coverage (`tests/compute/test_device_coverage.py`).
"""

from dataclasses import replace

import numpy as np
import pytest

from sitegen.compute.rf import propagated
from sitegen.compute.rf.entries import as_matrices, by_entry
from sitegen.compute.rf.propagated import Propagated, Swept, propagate, propagate_all
from sitegen.compute.rf.taken import COLD, DEVICE, Corrected, take
from sitegen.compute.rf.terms import terms_from_rows
from sitegen.compute.rf.two_port import from_admittance
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.device import DUMMIES_OF, DeembeddingMethod
from tests.compute.device_chain import FREQUENCY_HZ, WINDOW, Case, Measured, measured
from tests.compute.rf import forward as fw
from tests.compute.rf.transistors import HybridPi

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


def beside_an_open(case: Case, whole: ComplexArray) -> Measured:
    """Sweeps (n, n_freq, 2, 2) of a device beside pads of 20 fF, whose open all of them share."""
    pads_y = np.eye(2) * (40e-15j * np.pi * FREQUENCY_HZ)[:, np.newaxis, np.newaxis]
    parts = {"open": from_admittance(pads_y, 50.0)[np.newaxis]}
    device = Corrected(whole, "open", parts)
    one = measured(case, 1, 3)
    taken = take(one.wanted, FREQUENCY_HZ, device.stripped(50.0))
    assert taken is not None
    swept = Swept(FREQUENCY_HZ, device, dict.fromkeys((DEVICE, "open"), "CAL"))
    return replace(one, taken=taken, swept=swept)


@pytest.mark.parametrize("ohm", [50.0, 0.05])
def test_single_precision_is_enough_for_a_short_line(
    ohm: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With less than an ohm between the ports 1 + z Y is all but singular."""
    line = fw.line_s(FREQUENCY_HZ, 1e-4 + 1j * FREQUENCY_HZ / 1e12, ohm)
    one = beside_an_open(Case("line", "s21 phase", 2e9), np.repeat(line[np.newaxis], 3, axis=0))
    single = one.propagated()
    monkeypatch.setattr(propagated, "PRECISION", np.complex128)
    assert largest_difference(one.propagated(), single) < 1e-5


def test_a_perfect_short_has_the_uncertainty_of_one_that_is_nearly_so() -> None:
    """S of -1 has no Y; beside pads it is still the device's own."""
    near = np.array([0.0, 1e-7, 1e-5])[:, np.newaxis, np.newaxis, np.newaxis]
    shorted = np.broadcast_to(np.eye(2) * (near - 1.0), (3, len(FREQUENCY_HZ), 2, 2)) + 0j
    found = beside_an_open(Case("line", "s11 magnitude", 10e9), shorted).propagated()
    u = np.sqrt(found.calibration + found.own)
    assert (u > 0.0).all() and u == pytest.approx(u[2], rel=1e-3)


def test_one_figure_without_any_uncertainty_leaves_the_others_theirs() -> None:
    """Its slopes exceed all numbers; another at the same points is as if it were alone."""
    one = measured(CASES[2], DRAWS, 3)
    estimate = one.taken.estimate
    steep = replace(one.taken, estimate=replace(estimate, weights=1e200 * estimate.weights))
    figures = [(one.wanted, steep), (one.wanted, one.taken)]
    without, found = propagate_all(figures, one.swept, one.calibrations, shared=False)
    assert np.isnan(without.calibration).all() and without.remarks.all()
    assert largest_difference(one.propagated(), found) < 1e-12


def test_a_frequency_that_a_calibration_does_not_determine_takes_no_uncertainty_away() -> None:
    """A window's value stands on the other points, and so does its uncertainty."""
    one = measured(Case("transistor", "transconductance", window_hz=WINDOW), DRAWS, 3)
    lost = int(np.searchsorted(FREQUENCY_HZ, 16e9))
    s = one.swept.device.s.copy()
    s[:, lost] = np.nan
    taken = take(one.wanted, FREQUENCY_HZ, s)
    assert taken is not None
    swept = Swept(FREQUENCY_HZ, Corrected(s), {DEVICE: "CAL"})
    sources = one.calibrations["CAL"]
    rows, changes = sources.rows.copy(), sources.changes.copy()
    rows[:, lost], changes[:, lost] = np.nan, np.nan
    undetermined = replace(sources, terms=terms_from_rows(sources.terms, rows), changes=changes)
    found, whole = (
        propagate(one.wanted, taken, swept, {"CAL": each}, shared=False).calibration
        for each in (undetermined, sources)
    )
    assert np.isfinite(whole).all() and found == pytest.approx(whole, rel=1e-6)


def test_figures_through_access_resistances_are_propagated_together_as_alone() -> None:
    """At different points, with a cold sweep that is seen at all of them."""
    cold = Corrected(HybridPi(gm=0.0, gds=0.0, rs=2.0, rd=3.0).s(FREQUENCY_HZ)[np.newaxis])
    one = measured(CASES[0], 1, 3)
    device = Corrected(one.swept.device.s)
    swept = Swept(FREQUENCY_HZ, device, dict.fromkeys((DEVICE, COLD), "CAL"), cold)
    figures = []
    for case in (
        Case("transistor", "transconductance", 10e9),
        Case("transistor", "transconductance", window_hz=WINDOW),
        Case("transistor", "gate resistance", 30e9),
    ):
        wanted = measured(case, 1, 3).wanted
        taken = take(wanted, FREQUENCY_HZ, device.s, cold.s)
        assert taken is not None
        figures.append((wanted, taken))
    together = propagate_all(figures, swept, one.calibrations, shared=False)
    for (wanted, taken), found in zip(figures, together, strict=True):
        by_itself = propagate(wanted, taken, swept, one.calibrations, shared=False)
        assert np.isfinite(found.calibration).all()
        assert found.calibration == pytest.approx(by_itself.calibration, rel=1e-9)
