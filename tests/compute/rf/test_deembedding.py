"""De-embedding against scikit-rf, against networks put together independently, and its data files.

Two-ports are put together here with `numpy.linalg` on Y, Z and chain matrices, none with the
program's own conversions.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import skrf
from skrf.calibration import deembedding as reference

from sitegen.compute.rf import two_port
from sitegen.compute.rf.deembedding import (
    deembed,
    deembedding,
    pi_of_thru,
    propagation_of_line,
)
from sitegen.compute.rf.dummy_structures import doubts, lumped_up_to_hz, parasitics
from sitegen.model.arrays import ComplexArray
from sitegen.model.device import DUMMIES_OF, LUMPED, DeembeddingMethod

F_HZ = np.linspace(0.5e9, 110e9, 201)
W = 2j * np.pi * F_HZ
Z0 = 50.0
ONE = np.eye(2)
DATA = Path(skrf.__file__).parent / "data"
Matrix = np.ndarray[Any, np.dtype[Any]]


def s_of_y(y: Matrix) -> Matrix:
    return (ONE - Z0 * y) @ np.linalg.inv(ONE + Z0 * y)


def matrix(a: Any, b: Any, c: Any, d: Any) -> Matrix:
    made = np.empty((len(F_HZ), 2, 2), complex)
    made[:, 0, 0], made[:, 0, 1], made[:, 1, 0], made[:, 1, 1] = a, b, c, d
    return made


def s_of_chain(m: Matrix) -> Matrix:
    return np.array(skrf.network.a2s(m, np.full((len(m), 2), Z0)))


def chain_of_y(y: Matrix) -> Matrix:
    """From V1 = -(Y22 V2 + I) / Y21 with I = -I2 leaving port 2."""
    y11, y12, y21, y22 = y[:, 0, 0], y[:, 0, 1], y[:, 1, 0], y[:, 1, 1]
    return matrix(-y22 / y21, -1 / y21, y12 - y11 * y22 / y21, -y11 / y21)


def random_s(rng: np.random.Generator, n: int = 5) -> ComplexArray:
    parts = rng.standard_normal((2, n, 2, 2))
    return np.asarray(0.4 * (parts[0] + 1j * parts[1]), dtype=np.complex128)


def network(s: Matrix) -> skrf.Network:
    hz = np.arange(1, len(s) + 1) * 1e9
    return skrf.Network(frequency=skrf.Frequency.from_f(hz, unit="hz"), s=s, z0=Z0)


PADS = matrix(W * 28e-15, -W * 3e-15, -W * 3e-15, W * 31e-15)
LEADS = matrix(0.35 + W * 35e-12, 0.05, 0.05, 0.4 + W * 30e-12)
BESIDE = matrix(W * 5e-15, -W * 2e-15, -W * 2e-15, W * 4e-15)


def hybrid_pi() -> Matrix:
    """Y of gm 0.1 S, gds 5 mS, Cgs 80 fF, Cgd 20 fF, Cds 30 fF and Rg 5 ohm in the gate."""
    y = matrix(W * 100e-15, -W * 20e-15, 0.1 - W * 20e-15, 5e-3 + W * 50e-15)
    z = np.linalg.inv(y)
    z[:, 0, 0] += 5.0
    return np.array(np.linalg.inv(z))


def lumped(method: str, y: Matrix) -> tuple[Matrix, dict[str, Matrix]]:
    """S of the device inside what a method takes off, and of its dummies."""
    inv = np.linalg.inv
    short = np.zeros_like(y)
    if method == "open":
        return s_of_y(y + PADS), {"open": s_of_y(PADS)}
    if method == "short":
        return s_of_y(inv(inv(y) + LEADS)), {"short": s_of_y(inv(LEADS))}
    if method == "open-short":
        parts = {"open": s_of_y(PADS), "short": s_of_y(PADS + inv(LEADS))}
        return s_of_y(PADS + inv(LEADS + inv(y))), parts
    if method == "short-open":
        parts = {"open": s_of_y(inv(LEADS + inv(PADS))), "short": s_of_y(inv(LEADS + short))}
        return s_of_y(inv(LEADS + inv(PADS + y))), parts
    parts = {
        "pad": s_of_y(PADS),
        "short": s_of_y(PADS + inv(LEADS)),
        "open": s_of_y(PADS + inv(LEADS + inv(BESIDE))),
    }
    return s_of_y(PADS + inv(LEADS + inv(y + BESIDE))), parts


@pytest.mark.parametrize("method", sorted(LUMPED))
def test_a_lumped_method_recovers_the_device_inside(method: DeembeddingMethod) -> None:
    y = hybrid_pi()
    measured, parts = lumped(method, y)
    found = deembed(method, measured, parts, Z0)
    assert np.allclose(found, s_of_y(y), rtol=0.0, atol=1e-11)
    assert not np.allclose(measured, s_of_y(y), atol=1e-2)


def test_a_whole_without_an_admittance_has_a_device_inside() -> None:
    """A short at the tips is 0 ohm whatever the pads beside it; the device is -Z of the leads."""
    _, parts = lumped("open-short", hybrid_pi())
    whole = np.broadcast_to(-ONE + 0j, LEADS.shape)
    found = deembed("open-short", whole, parts, Z0)
    expected = (-LEADS - Z0 * ONE) @ np.linalg.inv(-LEADS + Z0 * ONE)
    assert np.allclose(found, expected, rtol=0.0, atol=1e-12)


@pytest.mark.parametrize("method", sorted(DUMMIES_OF))
def test_dummies_are_worked_through_once_for_many_sweeps(method: DeembeddingMethod) -> None:
    rng = np.random.default_rng(4)
    parts = {part: random_s(rng)[np.newaxis] for part in DUMMIES_OF[method]}
    sweeps = np.array([random_s(rng) for _ in range(3)])
    take_off = deembedding(method, parts, Z0)
    for one in sweeps:
        alone = deembed(method, one, {part: s[0] for part, s in parts.items()}, Z0)
        assert np.allclose(take_off(one[np.newaxis])[0], alone, rtol=1e-12, atol=0.0)
    assert np.allclose(take_off(sweeps)[2], take_off(sweeps[2:])[0], rtol=1e-12, atol=0.0)


def test_a_transistor_behind_pads_has_its_own_gain() -> None:
    """|h21| f of the hybrid-pi at 10 GHz is 159.1675 GHz, from its closed form: gm / (2 pi (Cgs +
    Cgd)) and the zero at gm / Cgd. Through pads of 25, 28 and 3 fF and leads of 35 and 30 pH, 0.3,
    0.35 and 0.05 ohm common it is 124.178 GHz, computed independently.
    """
    y = hybrid_pi()
    pads = matrix(W * 28e-15, -W * 3e-15, -W * 3e-15, W * 31e-15)
    leads = matrix(0.35 + W * 35e-12, 0.05, 0.05, 0.4 + W * 30e-12)
    inv = np.linalg.inv
    measured = s_of_y(pads + inv(leads + inv(y)))
    parts = {"open": s_of_y(pads), "short": s_of_y(pads + inv(leads))}
    inner = skrf.network.s2h(deembed("open-short", measured, parts, Z0), np.full((len(W), 2), Z0))
    outer = skrf.network.s2h(measured, np.full((len(W), 2), Z0))
    gains = [np.interp(10e9, F_HZ, np.abs(one[:, 1, 0]) * F_HZ) for one in (inner, outer)]
    assert gains[0] == pytest.approx(159.1675e9, rel=1e-6)
    assert gains[1] == pytest.approx(124.178e9, rel=1e-4)


@pytest.mark.parametrize(
    ("method", "other", "parts"),
    [
        ("open", "Open", ("open",)),
        ("short", "Short", ("short",)),
        ("open-short", "OpenShort", ("open", "short")),
        ("short-open", "ShortOpen", ("short", "open")),
        ("thru", "SplitPi", ("thru",)),
    ],
)
def test_scikit_rf_gives_the_same(
    method: DeembeddingMethod, other: str, parts: tuple[str, ...]
) -> None:
    rng = np.random.default_rng(3)
    dummies = {part: random_s(rng) for part in parts}
    if "thru" in dummies:
        s = dummies["thru"]
        dummies["thru"] = 0.5 * (s + s[:, ::-1, ::-1])
        dummies["thru"][:, 0, 1] = dummies["thru"][:, 1, 0]
    s = random_s(rng)
    method_there = getattr(reference, other)(*(network(dummies[part]) for part in parts))
    expected = method_there.deembed(network(s)).s
    found = deembed(method, s, dummies, Z0)
    assert np.allclose(found, expected, rtol=1e-12, atol=1e-12)


def test_the_inductor_that_comes_with_scikit_rf() -> None:
    """`ind.s2p` with `open.s2p` and `short.s2p`, simulated, 1 to 10 GHz. A series element has no Z;
    scikit-rf inverts it all the same, and is right to about six digits.
    """
    sweeps = {name: skrf.Network(str(DATA / f"{name}.s2p")) for name in ("ind", "open", "short")}
    there = reference.OpenShort(sweeps["open"], sweeps["short"]).deembed(sweeps["ind"]).s
    parts = {name: np.asarray(sweeps[name].s) for name in ("open", "short")}
    found = deembed("open-short", np.asarray(sweeps["ind"].s), parts, Z0)
    assert np.allclose(found, there, rtol=0.0, atol=1e-5)


def line(length_m: float) -> Matrix:
    """Chain matrix of a lossy line whose impedance is neither real nor the reference's."""
    gamma = (np.sqrt(F_HZ / 1e9) * 6.0 + 2.0) + W * 2.4 / 299792458.0
    impedance = 43.0 * np.sqrt(1.0 + 3e8 / W)
    x = gamma * length_m
    return matrix(np.cosh(x), impedance * np.sinh(x), np.sinh(x) / impedance, np.cosh(x))


def pad(c_f: float) -> Matrix:
    return matrix(1.0, 0.0, W * c_f, 1.0)


def test_thru_and_line_recover_the_device_at_the_middle_of_the_thru() -> None:
    y = hybrid_pi()
    device = chain_of_y(y)
    half, outer = line(100e-6), pad(30e-15)
    dummies = {
        "thru": s_of_chain(outer @ half @ half @ outer),
        "line": s_of_chain(outer @ line(200e-6 + 300e-6) @ outer),
    }
    measured = s_of_chain(outer @ half @ device @ half @ outer)
    found = deembed("thru-line", measured, dummies, Z0)
    assert np.allclose(found, s_of_chain(device), rtol=0.0, atol=1e-9)
    gamma_l = propagation_of_line(dummies["thru"], dummies["line"], Z0)
    expected = ((np.sqrt(F_HZ / 1e9) * 6.0 + 2.0) + W * 2.4 / 299792458.0) * 300e-6
    assert np.allclose(gamma_l, expected, atol=1e-9)
    wrong = deembed("thru", measured, dummies, Z0)
    assert not np.allclose(wrong, s_of_chain(device), atol=1e-2)


def test_a_thru_is_halved_where_its_pads_are_lumped() -> None:
    y = hybrid_pi()
    device = chain_of_y(y)
    left = pad(30e-15) @ matrix(1.0, 0.2 + W * 20e-12, 0.0, 1.0)
    right = matrix(1.0, 0.2 + W * 20e-12, 0.0, 1.0) @ pad(30e-15)
    thru = s_of_chain(left @ right)
    found = deembed("thru", s_of_chain(left @ device @ right), {"thru": thru}, Z0)
    assert np.allclose(found, s_of_chain(device), rtol=0.0, atol=1e-10)
    shunt, series = pi_of_thru(thru, Z0)
    assert np.allclose(shunt, W * 30e-15) and np.allclose(series, 0.2 + W * 20e-12)


@pytest.mark.parametrize("method", ["open", "short", "open-short", "short-open", "pad-open-short"])
def test_a_one_port_is_the_first_port_of_a_two_port_that_does_not_couple(
    method: DeembeddingMethod,
) -> None:
    rng = np.random.default_rng(4)
    dummies = {part: 0.5 * random_s(rng)[..., :1, :1] for part in DUMMIES_OF[method]}
    s = 0.5 * random_s(rng)[..., :1, :1]
    y = {part: (1 - one) / (Z0 * (1 + one)) for part, one in dummies.items()}
    m = (1 - s) / (Z0 * (1 + s))
    if method == "open":
        inner = m - y["open"]
    elif method == "short":
        inner = 1 / (1 / m - 1 / y["short"])
    elif method == "open-short":
        inner = 1 / (1 / (m - y["open"]) - 1 / (y["short"] - y["open"]))
    elif method == "short-open":
        inner = 1 / (1 / m - 1 / y["short"]) - 1 / (1 / y["open"] - 1 / y["short"])
    else:
        leads = 1 / (y["short"] - y["pad"])
        inner = 1 / (1 / (m - y["pad"]) - leads) - 1 / (1 / (y["open"] - y["pad"]) - leads)
    found = deembed(method, s, dummies, Z0)
    assert np.allclose(found, (1 - Z0 * inner) / (1 + Z0 * inner), rtol=1e-10)


def test_a_method_with_a_thru_needs_two_ports() -> None:
    rng = np.random.default_rng(7)
    with pytest.raises(ValueError, match="two ports"):
        deembed("thru", random_s(rng)[..., :1, :1], {"thru": random_s(rng)}, Z0)


@pytest.mark.parametrize("method", sorted(DUMMIES_OF))
def test_it_is_analytic_in_every_argument(method: DeembeddingMethod) -> None:
    """A small step along j does j times what one along 1 does."""
    rng = np.random.default_rng(5)
    dummies = {part: random_s(rng) for part in DUMMIES_OF[method]}
    s = random_s(rng)
    for name in ("device", *dummies):
        steps = []
        for step in (1e-6, 1e-6j):
            sides = []
            for sign in (1, -1):
                moved = {**dummies, "device": s}
                moved[name] = moved[name] + sign * step * np.array([[0.3, 1.0], [-0.5, 0.8]])
                parts = {part: moved[part] for part in dummies}
                sides.append(deembed(method, moved["device"], parts, Z0))
            steps.append((sides[0] - sides[1]) / (2 * step))
        assert np.allclose(steps[0], steps[1], rtol=1e-5, atol=1e-6 * np.abs(steps[0]).max())


def test_conversions_are_those_of_scikit_rf() -> None:
    s = random_s(np.random.default_rng(6), 50)
    z0 = np.full((50, 2), Z0)
    assert np.allclose(two_port.admittance(s, Z0), skrf.network.s2y(s, z0), rtol=1e-11)
    assert np.allclose(two_port.impedance(s, Z0), skrf.network.s2z(s, z0), rtol=1e-11)
    assert np.allclose(two_port.chain(s, Z0), skrf.network.s2a(s, z0), rtol=1e-11)
    for forth, back in (
        (two_port.admittance, two_port.from_admittance),
        (two_port.impedance, two_port.from_impedance),
        (two_port.chain, two_port.from_chain),
    ):
        assert np.allclose(back(forth(s, Z0), Z0), s, rtol=1e-11, atol=1e-12)
    assert np.allclose(two_port.product(s, two_port.inverse(s)), ONE, atol=1e-12)
    turned = two_port.from_chain(two_port.mirrored(two_port.chain(s, Z0)), Z0)
    assert np.allclose(turned[:, 0, 0], s[:, 1, 1]) and np.allclose(turned[:, 1, 1], s[:, 0, 0])


def test_parasitics_of_dummies_are_those_they_were_made_of() -> None:
    _, parts = lumped("pad-open-short", hybrid_pi())
    found = parasitics("pad-open-short", {k: v[np.newaxis] for k, v in parts.items()}, F_HZ, Z0)
    expected = {
        "C1": 25e-15, "C2": 28e-15, "C12": 3e-15, "L1": 35e-12, "L2": 30e-12, "R1": 0.3,
        "R2": 0.35, "R3": 0.05, "C1'": 3e-15, "C2'": 2e-15, "C12'": 2e-15,
    }  # fmt: skip
    for name, value in expected.items():
        assert found[name][0] == pytest.approx(value, rel=1e-6), name
    assert found["L3"][0] == pytest.approx(0.0, abs=1e-18)
    phase = 2 * np.pi * lumped_up_to_hz(found) * np.sqrt(35e-12 * 25e-15)  # type: ignore[operator]
    assert phase <= 0.5 + 1e-9


def told(parts: dict[str, Matrix], upper_hz: float | None = 40e9) -> str:
    sets = {part: one[np.newaxis] for part, one in parts.items()}
    found = parasitics("open-short", sets, F_HZ, Z0)
    return " ".join(doubts(found, "open-short", sets, F_HZ, Z0, upper_hz))


def test_sound_dummies_raise_no_doubt() -> None:
    assert told(lumped("open-short", hybrid_pi())[1]) == ""


def test_each_thing_that_is_wrong_with_dummies_is_said() -> None:
    parts = lumped("open-short", hybrid_pi())[1]
    exchanged = told({"open": parts["short"], "short": parts["open"]})
    assert "The open dummy looks like a short" in exchanged
    assert "The short dummy looks like an open" in exchanged
    negative = s_of_y(PADS - matrix(W * 60e-15, 0, 0, 0))
    assert "C1 is negative" in told({**parts, "open": negative})
    assert "The open dummy is not passive" in told({**parts, "open": 1.1 * parts["open"]})
    resonant = np.linalg.inv(matrix(W * 300e-12 + 1 / (W * 25e-15) + 3, 0.0, 0.0, 40 / W / 1e-12))
    assert "The open dummy resonates inside the band" in told({**parts, "open": s_of_y(resonant)})
    # 0.5 rad / (2 pi sqrt(35 pH 25 fF)) = 85.07 GHz
    assert "lumped elements up to about 85" in told(parts, None).replace("\u202f", " ")
    assert "lumped" in told(parts, 100e9)
