"""The forward model's physics: laws, closed forms, and an independent reference library."""

import numpy as np
import numpy.testing as npt
import pytest
import skrf
from skrf.network import z2s

from sitegen.model.arrays import ComplexArray
from sitegen.simulate import networks, standards
from sitegen.simulate.devices import SeriesBranch, Transistor, WaferLine
from sitegen.simulate.layout import grid_of
from sitegen.simulate.process import wafer_truth
from sitegen.simulate.scenario import FREQUENCY_HZ
from sitegen.simulate.station import Analyser, CableChange, noise, usual_analyser
from sitegen.simulate.sweeps import (
    capacitor_sweeps,
    drawer,
    inductor_sweeps,
    line_sweeps,
    transistor_sweeps,
)

HOURS = np.array([0.0, 1.7, 9.4])


@pytest.fixture(scope="module")
def analyser() -> Analyser:
    return usual_analyser((11, 1))


def _one(value: float) -> "np.ndarray[tuple[int], np.dtype[np.float64]]":
    return np.array([value])


def _largest_singular(s: ComplexArray) -> float:
    return float(np.linalg.svd(s, compute_uv=False).max())


def test_hybrid_pi_has_the_gain_of_its_closed_form() -> None:
    """|h21| f at 10 GHz is 159.1675 GHz for gm 0.1 S, Cgs 80 fF, Cgd 20 fF.

    Closed form: |h21| = |gm - j w Cgd| / (w (Cgs + Cgd)), whatever Rg; fT = gm / (2 pi C).
    """
    device = Transistor(
        _one(0.1), _one(5e-3), _one(80e-15), _one(20e-15), _one(30e-15), _one(5.0), _one(0.0)
    )
    gain = 10 ** (device.h21_db(10e9)[0] / 20)
    closed = abs(0.1 - 2j * np.pi * 10e9 * 20e-15) / (2 * np.pi * 10e9 * 100e-15)
    assert gain == pytest.approx(closed, rel=1e-12)
    assert gain * 10e9 == pytest.approx(159.1675e9, abs=0.0001e9)


def test_hybrid_pi_agrees_with_the_reference_library() -> None:
    """Admittances turned into S-parameters by scikit-rf, with the gate resistance added to Z."""
    w = 2 * np.pi * FREQUENCY_HZ
    y = np.empty((len(w), 2, 2), dtype=complex)
    y[:, 0, 0], y[:, 0, 1] = 1j * w * 90e-15, -1j * w * 15e-15
    y[:, 1, 0], y[:, 1, 1] = 0.05 - 1j * w * 15e-15, 2e-3 + 1j * w * 40e-15
    z = np.linalg.inv(y)
    z[:, 0, 0] += 4.0
    device = Transistor(
        _one(0.05), _one(2e-3), _one(75e-15), _one(15e-15), _one(25e-15), _one(4.0), _one(0.0)
    )
    ours = networks.to_scattering(device.chain(FREQUENCY_HZ))[0]
    npt.assert_allclose(ours, z2s(z, 50.0), atol=1e-12)


def test_inductor_has_the_figures_of_its_closed_form() -> None:
    """0.5 nH, 2 ohm, 20 fF across: 0.520074 nH and Q 14.9593 at 9.9091 GHz (worked by hand)."""
    spiral = SeriesBranch("inductor", _one(0.5e-9), _one(2.0), parallel_f=20e-15)
    assert spiral.figure("inductance", 9.9091e9)[0] == pytest.approx(0.520074e-9, rel=1e-6)
    assert spiral.figure("inductor quality", 9.9091e9)[0] == pytest.approx(14.9593, rel=1e-5)


def test_wafer_line_s21_is_that_of_its_chain_matrix() -> None:
    line = WaferLine(_one(6.0), _one(0.9))
    place = 100
    from_chain = networks.to_scattering(line.chain(FREQUENCY_HZ))[0, place, 1, 0]
    assert line.s21(float(FREQUENCY_HZ[place]))[0] == pytest.approx(from_chain, abs=1e-14)


@pytest.mark.parametrize("name", ["cap", "spiral", "line"])
def test_passive_devices_are_reciprocal_and_passive(name: str) -> None:
    truth = wafer_truth(grid_of(9), 5, 0)
    sweep = {"cap": capacitor_sweeps, "spiral": inductor_sweeps, "line": line_sweeps}[name]
    s = sweep(truth, drawer(5, 0, 1)).s
    npt.assert_allclose(s[..., 0, 1], s[..., 1, 0], atol=1e-14)
    assert _largest_singular(s) <= 1 + 1e-12


def test_transistor_is_neither() -> None:
    s = transistor_sweeps(wafer_truth(grid_of(9), 5, 0), "rf", drawer(5, 0, 1)).s
    assert np.abs(s[:, 0, 1, 0]).min() > 1.0
    assert np.abs(s[..., 0, 1] - s[..., 1, 0]).max() > 0.5


@pytest.mark.parametrize("name", ["thru", "short", "open", "load", "line", "attenuator"])
def test_standards_are_reciprocal_and_passive(name: str) -> None:
    s = standards.two_port(name, FREQUENCY_HZ)
    npt.assert_allclose(s[:, 0, 1], s[:, 1, 0], atol=1e-14)
    assert _largest_singular(s) <= 1 + 1e-12


def test_reflects_agree_with_the_reference_library() -> None:
    frequency = skrf.Frequency.from_f(FREQUENCY_HZ, unit="hz")
    medium = skrf.media.DefinedGammaZ0(frequency, z0=50.0, gamma=2j * np.pi * FREQUENCY_HZ / 3e8)
    inductor = medium.inductor(standards.SHORT_PH * 1e-12) ** medium.short()
    npt.assert_allclose(
        standards.reflection("short", FREQUENCY_HZ), inductor.s[:, 0, 0], atol=1e-12
    )
    lifted = medium.shunt_capacitor(standards.OPEN_FF * 1e-15) ** medium.open()
    npt.assert_allclose(standards.reflection("open", FREQUENCY_HZ), lifted.s[:, 0, 0], atol=1e-9)


def test_error_boxes_are_reciprocal_passive_and_lossy(analyser: Analyser) -> None:
    for box in analyser.boxes(FREQUENCY_HZ, HOURS):
        assert box.shape == (3, 201, 2, 2)
        npt.assert_allclose(box[..., 0, 1], box[..., 1, 0], atol=1e-13)
        assert _largest_singular(box) < 1.0


def test_joining_agrees_with_the_reference_library(analyser: Analyser) -> None:
    first, second = analyser.boxes(FREQUENCY_HZ, HOURS[:1])
    line = standards.two_port("line", FREQUENCY_HZ)
    ours = networks.join(networks.join(first[0], line), second[0])
    parts = [skrf.Network(f=FREQUENCY_HZ, f_unit="hz", s=s) for s in (first[0], line, second[0])]
    theirs = parts[0] ** parts[1] ** parts[2]
    npt.assert_allclose(ours, theirs.s, atol=1e-12)
    npt.assert_allclose(networks.part(ours, first[0], second[0]), line, atol=1e-12)


def test_switch_terms_agree_with_the_reference_library(analyser: Analyser) -> None:
    """scikit-rf's `terminate` turns ideal into switched S-parameters by Marks's equations."""
    first, second = analyser.boxes(FREQUENCY_HZ, HOURS[:1])
    device = standards.two_port("attenuator", FREQUENCY_HZ)
    whole = networks.join(networks.join(first[0], device), second[0])
    forward, reverse = analyser.ends_s(FREQUENCY_HZ)
    theirs = skrf.calibration.terminate(
        skrf.Network(f=FREQUENCY_HZ, f_unit="hz", s=whole),
        skrf.Network(f=FREQUENCY_HZ, f_unit="hz", s=forward),
        skrf.Network(f=FREQUENCY_HZ, f_unit="hz", s=reverse),
    )
    npt.assert_allclose(
        analyser.raw(device[None], FREQUENCY_HZ, HOURS[:1])[0], theirs.s, atol=1e-12
    )


def test_correcting_at_the_calibration_time_gives_the_device_back(analyser: Analyser) -> None:
    devices = np.stack([standards.two_port(name, FREQUENCY_HZ) for name in ("line", "short")])
    raw = analyser.raw(devices, FREQUENCY_HZ, np.array([3.0, 3.0]))
    npt.assert_allclose(analyser.corrected(raw, FREQUENCY_HZ, 3.0), devices, atol=1e-12)


def test_one_port_is_the_two_port_of_a_reflect(analyser: Analyser) -> None:
    """A reflecting two-port keeps the other port out of S11."""
    both = analyser.raw(standards.two_port("short", FREQUENCY_HZ)[None], FREQUENCY_HZ, HOURS[:1])
    alone = analyser.raw_one_port(
        standards.reflection("short", FREQUENCY_HZ)[None], FREQUENCY_HZ, HOURS[:1]
    )
    npt.assert_allclose(alone, both[..., 0, 0], atol=1e-13)


def test_reference_library_solves_the_noiseless_calibration(analyser: Analyser) -> None:
    """scikit-rf's SOLT, given the definitions' meaning, recovers a device to 1e-10."""
    names = ("short", "open", "load", "thru")
    ideals = [_network(standards.two_port(name, FREQUENCY_HZ)) for name in names]
    at = np.array([4.0])
    measured = [_network(analyser.raw(one.s[None], FREQUENCY_HZ, at)[0]) for one in ideals]
    solt = skrf.calibration.SOLT(measured, ideals, n_thrus=1)
    device = standards.two_port("line", FREQUENCY_HZ)
    raw = _network(analyser.raw(device[None], FREQUENCY_HZ, at)[0])
    npt.assert_allclose(solt.apply_cal(raw).s, device, atol=1e-10)


def _network(s: ComplexArray) -> skrf.Network:
    return skrf.Network(f=FREQUENCY_HZ, f_unit="hz", s=s)


def test_drift_is_slow_and_small(analyser: Analyser) -> None:
    """Over a minute less than a tenth of what four hours may bring, and never above 0.1."""
    line = standards.two_port("line", FREQUENCY_HZ)[None]
    raw = analyser.raw(np.repeat(line, 3, axis=0), FREQUENCY_HZ, np.array([0.0, 1 / 60, 4.0]))
    corrected = analyser.corrected(raw, FREQUENCY_HZ, 0.0)
    minute, hours = (np.abs(corrected[n] - line[0]).max() for n in (1, 2))
    assert 0 < minute < 0.1 * hours < 0.01


def test_moved_cable_shows_at_port_2_only() -> None:
    before = usual_analyser((11, 1))
    after = usual_analyser((11, 1), CableChange(hours=1.0, delay_ps=0.3, loss_db=0.4))
    early, late = np.array([0.9]), np.array([1.1])
    for hours, changed in ((early, False), (late, True)):
        old, new = (one.boxes(FREQUENCY_HZ, hours) for one in (before, after))
        npt.assert_array_equal(old[0], new[0])
        assert bool(np.abs(old[1] - new[1]).max() > 0.05) is changed


def test_noise_has_the_spread_it_says() -> None:
    """2,000 draws: the standard deviation is known to 1.6 %, so 5 % is three of its own."""
    draws = noise(np.random.default_rng(3), FREQUENCY_HZ, (2000, 201))
    spread = draws.real.std(axis=0)
    npt.assert_allclose(spread[[0, -1]], [1.5e-5, 3.75e-5], rtol=0.05)
    assert noise(np.random.default_rng(3), FREQUENCY_HZ, (4, 201, 2, 2)).shape == (4, 201, 2, 2)
