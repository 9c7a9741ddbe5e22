"""The forward model's physics: laws, closed forms, and an independent reference library."""

import numpy as np
import numpy.testing as npt
import pytest
import skrf
from skrf.network import s2y, z2s

from sitegen.model.arrays import ComplexArray
from sitegen.model.calibration import LoadDefinition, Offset, OpenDefinition, ShortDefinition
from sitegen.simulate import networks
from sitegen.simulate.calibration_event import CONTACTS, twelve_terms
from sitegen.simulate.devices import SeriesBranch, Transistor, WaferLine
from sitegen.simulate.events import DEFINITIONS, LINE, LINE_UM
from sitegen.simulate.layout import grid_of
from sitegen.simulate.pads import PADS, Pads
from sitegen.simulate.process import wafer_truth
from sitegen.simulate.reading import USUAL, Sources
from sitegen.simulate.scenario import FREQUENCY_HZ
from sitegen.simulate.standards import (
    Kit,
    Medium,
    attenuator,
    both_ports,
    drawn,
    kit_of,
    reflection,
)
from sitegen.simulate.station import Analyser, PathChange, usual_analyser
from sitegen.simulate.sweeps import (
    capacitor_sweeps,
    drawer,
    inductor_sweeps,
    line_sweeps,
    transistor_sweeps,
)
from sitegen.simulate.true_figures import over_window

HOURS = np.array([0.0, 1.7, 9.4])
AS_DECLARED = Kit("as declared", DEFINITIONS, DEFINITIONS)


@pytest.fixture(scope="module")
def analyser() -> Analyser:
    return usual_analyser((11, 1))


def _one(value: float) -> "np.ndarray[tuple[int], np.dtype[np.float64]]":
    return np.array([value])


def _two_port(name: str) -> ComplexArray:
    """A standard as declared, or a verification structure, (n_freq, 2, 2)."""
    if name == "line":
        return LINE.line(LINE_UM, FREQUENCY_HZ)
    if name == "attenuator":
        return attenuator(10.0, FREQUENCY_HZ)
    presented = AS_DECLARED.presented(name, FREQUENCY_HZ)
    return presented if presented.ndim == 3 else both_ports(presented, presented)


def _largest_singular(s: ComplexArray) -> float:
    return float(np.linalg.svd(s, compute_uv=False).max())


TEN_GHZ = np.array([10e9])
CLOSED = Transistor(_one(0.1), _one(5e-3), _one(80e-15), _one(20e-15), _one(30e-15), _one(5.0))
"""Its figures have closed forms: fT = gm/(2 pi (Cgs + Cgd)) is 159.154943 GHz, and
fmax = fT/(2 sqrt(Rg (gds + 2 pi fT Cgd))) is 225.079079 GHz, exactly for this topology."""


def test_hybrid_pi_has_the_gains_of_its_closed_form() -> None:
    """|h21| = |gm - j w Cgd| / (w (Cgs + Cgd)), whatever Rg; sqrt(U) f is fmax at any frequency."""
    y = CLOSED.admittance(TEN_GHZ)
    gain = 10 ** (over_window("h21 magnitude", y, TEN_GHZ)[0] / 20)
    closed = abs(0.1 - 2j * np.pi * 10e9 * 20e-15) / (2 * np.pi * 10e9 * 100e-15)
    assert gain == pytest.approx(closed, rel=1e-12)
    assert gain * 10e9 == pytest.approx(159.1675e9, abs=0.0001e9)
    for low, high, cutoff in ((10e9, 20e9, 159.184e9), (10e9, 40e9, 159.243e9)):
        window = np.geomspace(low, high, 401)
        found = over_window("transit frequency by extrapolation", CLOSED.admittance(window), window)
        assert found[0] == pytest.approx(cutoff, rel=2e-4)
    fmax = over_window(
        "maximum frequency of oscillation from U", CLOSED.admittance(FREQUENCY_HZ), FREQUENCY_HZ
    )
    assert fmax[0] == pytest.approx(225.079079e9, rel=1e-8)


def test_elements_of_a_hybrid_pi_come_back() -> None:
    window = np.linspace(2e9, 15e9, 21)
    y = CLOSED.admittance(window)
    for name, element in (
        ("transconductance", 0.1),
        ("output conductance", 5e-3),
        ("gate-source capacitance", 80e-15),
        ("gate-drain capacitance", 20e-15),
        ("drain-source capacitance", 30e-15),
    ):
        assert over_window(name, y, window)[0] == pytest.approx(element, rel=1e-9)


def test_pads_come_off_a_hybrid_pi_by_open_and_short() -> None:
    """Open-short is exact for this topology: |h21| f at 10 GHz is 159.1675 GHz again."""
    y = s2y(CLOSED.at_tips(TEN_GHZ, PADS)[0], 50.0)[0]
    assert abs(y[1, 0] / y[0, 0]) * 10e9 < 130e9
    opened, shorted = (s2y(PADS.dummy(kind, TEN_GHZ), 50.0)[0] for kind in ("open", "short"))
    inner = np.linalg.inv(np.linalg.inv(y - opened) - np.linalg.inv(shorted - opened))
    assert abs(inner[1, 0] / inner[0, 0]) * 10e9 == pytest.approx(159.1675e9, abs=0.0001e9)
    npt.assert_allclose(inner, CLOSED.admittance(TEN_GHZ)[0, 0], rtol=1e-9)


def test_hybrid_pi_agrees_with_the_reference_library() -> None:
    """Admittances turned into S-parameters by scikit-rf, with the gate resistance added to Z."""
    w = 2 * np.pi * FREQUENCY_HZ
    y = np.empty((len(w), 2, 2), dtype=complex)
    y[:, 0, 0], y[:, 0, 1] = 1j * w * 90e-15, -1j * w * 15e-15
    y[:, 1, 0], y[:, 1, 1] = 0.05 - 1j * w * 15e-15, 2e-3 + 1j * w * 40e-15
    z = np.linalg.inv(y)
    z[:, 0, 0] += 4.0
    device = Transistor(_one(0.05), _one(2e-3), _one(75e-15), _one(15e-15), _one(25e-15), _one(4.0))
    bare = Pads(0.0, 0.0, 0.0, 1e-18, 1e-18, 0.0, 0.0, 0.0)
    npt.assert_allclose(device.at_tips(FREQUENCY_HZ, bare)[0], z2s(z, 50.0), atol=1e-7)


def test_inductor_has_the_figures_of_its_closed_form() -> None:
    """0.5 nH, 2 ohm, 20 fF across: 0.520074 nH and Q 14.9593 at 9.9091 GHz, resonance 50.32519 GHz
    (worked by hand)."""
    spiral = SeriesBranch("inductor", _one(0.5e-9), _one(2.0), parallel_f=20e-15)
    at = np.array([9.9091e9])
    y = spiral.matrix(at)
    assert over_window("inductance", y, at)[0] == pytest.approx(0.520074e-9, rel=1e-6)
    assert over_window("inductor quality", y, at)[0] == pytest.approx(14.9593, rel=1e-5)
    assert spiral.resonance_hz()[0] == pytest.approx(50.32519e9, rel=1e-7)


def test_wafer_line_s21_is_that_of_its_chain_matrix() -> None:
    line = WaferLine(_one(6.0), _one(0.9), _one(51.0))
    place = 100
    from_chain = networks.to_scattering(line.chain(FREQUENCY_HZ))[0, place, 1, 0]
    assert line.s21(float(FREQUENCY_HZ[place]))[0] == pytest.approx(from_chain, abs=1e-14)


@pytest.mark.parametrize("name", ["cap", "spiral", "line"])
def test_passive_devices_are_reciprocal_and_passive(name: str) -> None:
    truth = wafer_truth(grid_of(9), 5, 0)
    s = {
        "cap": lambda: capacitor_sweeps(truth),
        "spiral": lambda: inductor_sweeps(truth),
        "line": lambda: line_sweeps(truth, drawer(5, 0, 1)),
    }[name]().s
    npt.assert_allclose(s[..., 0, 1], s[..., 1, 0], atol=1e-14)
    assert _largest_singular(s) <= 1 + 1e-12


def test_transistor_is_neither() -> None:
    s = transistor_sweeps(wafer_truth(grid_of(9), 5, 0), "rf").s
    assert np.abs(s[:, 0, 1, 0]).min() > 1.0
    assert np.abs(s[..., 0, 1] - s[..., 1, 0]).max() > 0.5


@pytest.mark.parametrize("kind", ["open", "short"])
def test_dummies_are_reciprocal_and_passive(kind: str) -> None:
    s = PADS.dummy(kind, FREQUENCY_HZ)
    npt.assert_allclose(s[:, 0, 1], s[:, 1, 0], atol=1e-14)
    assert _largest_singular(s) <= 1 + 1e-12


@pytest.mark.parametrize("name", ["thru", "short", "open", "load", "line", "attenuator"])
def test_standards_are_reciprocal_and_passive(name: str) -> None:
    s = _two_port(name)
    npt.assert_allclose(s[:, 0, 1], s[:, 1, 0], atol=1e-14)
    assert _largest_singular(s) <= 1 + 1e-12


def test_reflects_agree_with_the_reference_library() -> None:
    """scikit-rf's elements behind its lossless line: short, open and load with offsets."""
    offset = Offset(delay_ps=0.7, z0_ohm=55.0)
    short = ShortDefinition(kind="short", inductance_ph=(3.3, 0.01), offset=offset)
    lifted = OpenDefinition(kind="open", capacitance_ff=(-6.2,), offset=offset)
    load = LoadDefinition(
        kind="load", resistance_ohm=49.0, inductance_ph=4.6, capacitance_ff=0.8, offset=offset
    )
    frequency = skrf.Frequency.from_f(FREQUENCY_HZ, unit="hz")
    gamma = 2j * np.pi * FREQUENCY_HZ / 3e8
    medium = skrf.media.DefinedGammaZ0(frequency, z0=50.0, gamma=gamma)
    offset_medium = skrf.media.DefinedGammaZ0(frequency, z0=55.0, z0_port=50.0, gamma=gamma)
    line = offset_medium.line(0.7e-12 * 3e8, unit="m")
    henry = (3.3 + 0.01 * FREQUENCY_HZ / 1e9) * 1e-12
    ended = {
        "short": medium.inductor(henry) ** medium.short(),
        "open": medium.shunt_capacitor(-6.2e-15) ** medium.open(),
        "load": medium.shunt_capacitor(0.8e-15)
        ** medium.resistor(49.0)
        ** medium.inductor(4.6e-12)
        ** medium.short(),
    }
    for name, standard in (("short", short), ("open", lifted), ("load", load)):
        theirs = (line ** ended[name]).s[:, 0, 0]
        npt.assert_allclose(reflection(standard, FREQUENCY_HZ), theirs, atol=1e-9)


@pytest.mark.parametrize("effective_permittivity", [1.0, 5.2])
def test_lines_agree_with_the_reference_library(effective_permittivity: float) -> None:
    """scikit-rf's line of distributed R, L, C; the skin effect's reactance is part of L."""
    medium = Medium(effective_permittivity, 150.0, 480.0)
    skin = 480.0 * np.sqrt(FREQUENCY_HZ / 1e9)
    inductance = effective_permittivity / (299_792_458.0**2 * 150e-12)
    theirs = skrf.media.DistributedCircuit(
        skrf.Frequency.from_f(FREQUENCY_HZ, unit="hz"),
        z0_port=50.0,
        R=skin,
        L=inductance + skin / (2 * np.pi * FREQUENCY_HZ),
        C=150e-12,
        G=0.0,
    )
    npt.assert_allclose(medium.impedance_ohm(FREQUENCY_HZ), theirs.z0_characteristic, rtol=1e-9)
    npt.assert_allclose(
        medium.line(920.0, FREQUENCY_HZ), theirs.line(920e-6, unit="m").s, atol=1e-9
    )


def test_lossy_offset_is_a_distributed_line_to_first_order() -> None:
    """R T = K T sqrt(f / 1 GHz) in series with as much reactance, over a length of 1 s of delay."""
    offset = Offset(delay_ps=2.0, z0_ohm=50.0, loss_gohm_per_s=5.0)
    open_ = OpenDefinition(kind="open", capacitance_ff=(3.0,), offset=offset)
    above = FREQUENCY_HZ[FREQUENCY_HZ > 1e9]
    skin = 5e9 * np.sqrt(above / 1e9)
    frequency = skrf.Frequency.from_f(above, unit="hz")
    line = skrf.media.DistributedCircuit(
        frequency, z0_port=50.0, R=skin, L=50.0 + skin / (2 * np.pi * above), C=1 / 50.0, G=0.0
    )
    bare = skrf.media.DefinedGammaZ0(frequency, z0=50.0)
    theirs = line.line(2e-12, unit="m") ** bare.shunt_capacitor(3e-15) ** bare.open()
    npt.assert_allclose(reflection(open_, above), theirs.s[:, 0, 0], atol=2e-3)
    npt.assert_allclose(np.abs(reflection(open_, above)), np.abs(theirs.s[:, 0, 0]), atol=2e-4)


def test_error_boxes_are_reciprocal_passive_and_lossy(analyser: Analyser) -> None:
    for box in analyser.boxes(FREQUENCY_HZ, HOURS):
        assert box.shape == (3, 201, 2, 2)
        npt.assert_allclose(box[..., 0, 1], box[..., 1, 0], atol=1e-13)
        assert _largest_singular(box) < 1.0


def test_joining_agrees_with_the_reference_library(analyser: Analyser) -> None:
    first, second = analyser.boxes(FREQUENCY_HZ, HOURS[:1])
    line = _two_port("line")
    ours = networks.join(networks.join(first[0], line), second[0])
    parts = [skrf.Network(f=FREQUENCY_HZ, f_unit="hz", s=s) for s in (first[0], line, second[0])]
    theirs = parts[0] ** parts[1] ** parts[2]
    npt.assert_allclose(ours, theirs.s, atol=1e-12)
    npt.assert_allclose(networks.part(ours, first[0], second[0]), line, atol=1e-12)


def test_switch_terms_agree_with_the_reference_library(analyser: Analyser) -> None:
    """scikit-rf's `terminate` turns ideal into switched S-parameters by Marks's equations."""
    first, second = analyser.boxes(FREQUENCY_HZ, HOURS[:1])
    device = _two_port("attenuator")
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
    devices = np.stack([_two_port(name) for name in ("line", "short")])
    raw = analyser.raw(devices, FREQUENCY_HZ, np.array([3.0, 3.0]))
    npt.assert_allclose(analyser.corrected(raw, FREQUENCY_HZ, 3.0), devices, atol=1e-12)


def test_one_port_is_the_two_port_of_a_reflect(analyser: Analyser) -> None:
    """A reflecting two-port keeps the other port out of S11."""
    both = analyser.raw(_two_port("short")[None], FREQUENCY_HZ, HOURS[:1])
    alone = analyser.raw_one_port(
        AS_DECLARED.presented("short", FREQUENCY_HZ)[None], FREQUENCY_HZ, HOURS[:1]
    )
    npt.assert_allclose(alone, both[..., 0, 0], atol=1e-13)


def test_reference_library_solves_the_noiseless_calibration(analyser: Analyser) -> None:
    """scikit-rf's SOLT, given the definitions' meaning, recovers a device and all terms."""
    ideals = [_network(_two_port(name)) for name in ("short", "open", "load", "thru")]
    at = np.array([4.0])
    measured = [_network(analyser.raw(one.s[None], FREQUENCY_HZ, at)[0]) for one in ideals]
    solt = skrf.calibration.SOLT(measured, ideals, n_thrus=1)
    device = _two_port("line")
    raw = _network(analyser.raw(device[None], FREQUENCY_HZ, at)[0])
    npt.assert_allclose(solt.apply_cal(raw).s, device, atol=1e-10)
    ours = twelve_terms(analyser, FREQUENCY_HZ, 4.0)
    for name, symbol in (
        ("directivity", "ED"),
        ("source match", "ES"),
        ("reflection tracking", "ER"),
        ("load match", "EL"),
        ("transmission tracking", "ET"),
    ):
        for way in ("forward", "reverse"):
            theirs = solt.coefs_12term[f"{way} {name}"]
            npt.assert_allclose(ours[f"{symbol}{way[0].upper()}"], theirs, atol=1e-9)


def _network(s: ComplexArray) -> skrf.Network:
    return skrf.Network(f=FREQUENCY_HZ, f_unit="hz", s=s)


def test_drift_is_slow_and_small(analyser: Analyser) -> None:
    """Over a minute less than a tenth of what four hours may bring, and never above 0.1."""
    line = _two_port("line")[None]
    raw = analyser.raw(np.repeat(line, 3, axis=0), FREQUENCY_HZ, np.array([0.0, 1 / 60, 4.0]))
    corrected = analyser.corrected(raw, FREQUENCY_HZ, 0.0)
    minute, hours = (np.abs(corrected[n] - line[0]).max() for n in (1, 2))
    assert 0 < minute < 0.1 * hours < 0.01


def test_moved_cable_shows_at_port_2_only_and_is_put_back() -> None:
    before = usual_analyser((11, 1))
    change = PathChange(2, 1.0, 2.0, cable_ps=0.3, cable_db=0.4)
    after = usual_analyser((11, 1), (change,))
    for hour, changed in ((0.9, False), (1.0, True), (1.9, True), (2.0, False)):
        old, new = (one.boxes(FREQUENCY_HZ, np.array([hour])) for one in (before, after))
        npt.assert_array_equal(old[0], new[0])
        assert bool(np.abs(old[1] - new[1]).max() > 0.05) is changed


def test_standards_scatter_as_their_definitions_declare() -> None:
    """2,000 draws: a standard deviation is known to 1.6 %, so 6 % is nearly four of its own."""
    load = DEFINITIONS["load"]
    made = [drawn(load, np.random.default_rng([4, seed])) for seed in range(2000)]
    for name, u in (("resistance_ohm", 0.02), ("inductance_ph", 0.3)):
        values = np.array([getattr(one, name) for one in made])
        assert values.std() == pytest.approx(u, rel=0.06)
        assert values.mean() == pytest.approx(getattr(load, name), abs=0.1 * u)
    assert {one.capacitance_ff for one in made if isinstance(one, LoadDefinition)} == {0.0}
    assert kit_of("a", DEFINITIONS, (1,)).true == kit_of("b", DEFINITIONS, (1,)).true
    assert {name for names in CONTACTS.values() for name in names} >= DEFINITIONS.keys()


def test_sources_of_a_sweep_have_the_spread_they_say() -> None:
    """4,000 draws: 1.1 %, so 5 % is more than four of a standard deviation's own."""
    s = np.full((4000, 3, 2, 2), 0.5 + 0.2j)
    level = abs(0.5 + 0.2j)

    def spread(one: ComplexArray, place: tuple[int, int]) -> float:
        moved = (one - s)[(..., *place)]
        return float(np.std(moved.real))

    none = {"noise_floor": 0.0, "trace_noise": 0.0, "contact_repeatability": 0.0,
            "linearity": 0.0, "cable": 0.0}  # fmt: skip
    rng = np.random.default_rng(3)
    noisy = Sources(**{**none, "noise_floor": 3e-4, "trace_noise": 4e-4 / level}).shown(s, rng)
    assert spread(noisy, (0, 1)) == pytest.approx(5e-4, rel=0.05)
    assert not np.allclose(noisy[:, 0], noisy[:, 1])
    touched = Sources(**{**none, "contact_repeatability": 1e-3}).contacted(s, rng)
    assert spread(touched, (0, 0)) == pytest.approx(1e-3, rel=0.05)
    assert spread(touched, (1, 0)) == pytest.approx(1e-3 * level, rel=0.05)
    npt.assert_array_equal(touched[..., 0, 1], touched[..., 1, 0])
    cable = Sources(**{**none, "cable": 1e-3}).shown(s, rng)
    assert spread(cable, (1, 1)) == pytest.approx(2e-3 * level, rel=0.05)
    assert spread(cable, (0, 1)) == pytest.approx(np.sqrt(2) * 1e-3 * level, rel=0.05)
    receivers = Sources(**{**none, "linearity": 1e-3}).shown(s, rng)
    assert spread(receivers, (0, 1)) == pytest.approx(1e-3 * level, rel=0.05)
    for one in (touched, cable, receivers):
        npt.assert_allclose(one[:, 0], one[:, 2], atol=1e-15)
    assert USUAL.record().keys() - USUAL.record(with_noise=False).keys() == {
        "noise_floor", "trace_noise",
    }  # fmt: skip
