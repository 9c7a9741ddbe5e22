"""Figures of transistors: a hybrid-pi of known elements, and scikit-rf's gains.

The hybrid-pi has gm .1 S, gds 5 mS, Cgs 80, Cgd 20, Cds 30 fF and Rg 5 ohm. Closed forms:
fT = gm/(2 pi (Cgs + Cgd)) = 159.154943 GHz, which f/Im(1/h21) approaches at low frequencies;
fmax = fT/(2 sqrt(Rg (gds + 2 pi fT Cgd))) = 225.079079 GHz, exact for this topology at any
frequency. The other printed numbers come from an independent program.
"""

import numpy as np
import pytest
import skrf

from sitegen.compute.rf import gains
from sitegen.compute.rf.access import access_resistances, without_access
from sitegen.compute.rf.figure_records import Estimate
from sitegen.compute.rf.figures import FIGURES, Surroundings
from sitegen.compute.rf.seen import Seen, seen
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.figures import Place
from tests.compute.rf.transistors import HybridPi, admittance_of

DEVICE = HybridPi()
AROUND = Surroundings(50.0)
TEN_GHZ = np.array([10e9])
BAND_HZ = np.linspace(10e6, 110e9, 221)


def at(s: ComplexArray) -> Seen:
    """S (n_f, 2, 2), at frequencies that do not matter."""
    return seen(s, np.ones(s.shape[:-2]), AROUND)


def taken(name: str, s: ComplexArray, frequency_hz: FloatArray, place: Place) -> Estimate:
    """A figure of one sweep or several."""
    s = s if s.ndim == 4 else s[np.newaxis]
    quantity = FIGURES[name].quantity(s, frequency_hz, AROUND)
    return FIGURES[name].estimate(quantity, frequency_hz, place)


def at_ten_ghz(name: str) -> float:
    return float(taken(name, DEVICE.s(TEN_GHZ), TEN_GHZ, "frequency").value[0])


@pytest.mark.parametrize(
    ("name", "printed", "half_digit"),
    [
        ("h21 magnitude", 24.037088, 5e-7),
        ("unilateral gain", 27.046703, 5e-7),
        ("stability factor K", 0.09109899, 5e-9),
        ("stability factor mu", 0.164205, 5e-7),
        ("maximum stable gain", 19.008244, 5e-7),
    ],
)
def test_gains_at_10_ghz(name: str, printed: float, half_digit: float) -> None:
    assert at_ten_ghz(name) == pytest.approx(printed, abs=half_digit)


def two_ports() -> ComplexArray:
    """Some with gain, some without; some stable with any load, some not."""
    rng = np.random.default_rng(12)
    s = 0.5 * (rng.normal(size=(400, 2, 2)) + 1j * rng.normal(size=(400, 2, 2)))
    s[:, 0, 1] *= 0.2
    return np.concatenate([s, DEVICE.s(np.linspace(1e9, 110e9, 110))])


def test_unilateral_gain_by_both_forms() -> None:
    """U 506.605918 at 10 GHz; Mason's form in Y and the one in K agree over the band."""
    s = DEVICE.s(BAND_HZ)
    u = gains.unilateral_gain(at(s))
    assert gains.unilateral_gain(at(DEVICE.s(TEN_GHZ)))[0] == pytest.approx(506.605918, abs=5e-7)
    y = admittance_of(s)
    re = y.real
    mason = np.abs(y[:, 1, 0] - y[:, 0, 1]) ** 2 / (
        4 * (re[:, 0, 0] * re[:, 1, 1] - re[:, 0, 1] * re[:, 1, 0])
    )
    ratio = s[:, 1, 0] / s[:, 0, 1]
    by_k = np.abs(ratio - 1) ** 2 / (2 * (gains.stability_k(at(s)) * np.abs(ratio) - ratio.real))
    high = BAND_HZ > 1e9  # below, both forms subtract nearly equal numbers
    assert u[high] == pytest.approx(mason[high], rel=1e-9)
    assert u[high] == pytest.approx(by_k[high], rel=1e-9)
    assert np.sqrt(u[high]) * BAND_HZ[high] == pytest.approx(225.0790790e9, rel=3e-10)


def test_gains_agree_with_scikit_rf() -> None:
    """To 1e-12 for active and passive devices; the maximum available gain where it is one."""
    s = two_ports()
    theirs = skrf.Network(f=np.arange(1.0, len(s) + 1), s=s, f_unit="GHz")
    assert gains.stability_k(at(s)) == pytest.approx(theirs.stability, rel=1e-12)
    stable = 10.0 ** (gains.stable_gain_db(at(s)) / 10.0)
    assert stable == pytest.approx(theirs.max_stable_gain, rel=1e-12)
    assert gains.unilateral_gain(at(s)) == pytest.approx(theirs.unilateral_gain, rel=1e-12)
    with np.errstate(invalid="ignore"):
        available = 10.0 ** (gains.available_gain_db(at(s)) / 10.0)
    known = np.isfinite(available)
    assert 20 < known.sum() < len(s)
    assert available[known] == pytest.approx(theirs.max_gain[known], rel=1e-12)
    assert (theirs.stability[known] >= 1).all()


def test_both_stability_factors_tell_the_same() -> None:
    """mu > 1 just where K > 1 and |D| < 1 (Edwards and Sinsky 1992)."""
    s = two_ports()
    d = np.abs(np.linalg.det(s))
    unconditional = (gains.stability_k(at(s)) > 1) & (d < 1) & (np.abs(s[:, 0, 0]) < 1)
    assert 0 < unconditional.sum() < len(s)
    assert ((gains.stability_mu(at(s)) > 1) == unconditional).all()


def test_a_large_k_alone_is_not_unconditional_stability() -> None:
    """S11 = S22 = 1.5: K is above 1, but |D| and mu say that the ports oscillate."""
    s = np.array([[1.5, 0.1], [1.0, 1.5]], np.complex128)
    assert gains.stability_k(at(s)) > 1 and gains.stability_mu(at(s)) < 1
    assert np.isnan(gains.available_gain_db(at(s)))


def test_without_unconditional_stability_there_is_no_available_gain() -> None:
    at_one = taken("maximum available gain", DEVICE.s(TEN_GHZ), TEN_GHZ, "frequency")
    assert np.isnan(at_one.value[0]) and "maximum stable gain holds" in at_one.no_value[0]
    window = np.linspace(20e9, 60e9, 41)
    from_mag = "maximum frequency of oscillation from MAG"
    over = taken(from_mag, DEVICE.s(window), window, "window")
    assert np.isnan(over.value[0]) and "K is below 1" in over.no_value[0]


def window(first_ghz: float, last_ghz: float) -> FloatArray:
    return np.linspace(first_ghz, last_ghz, 2 * int(last_ghz - first_ghz) + 1) * 1e9


@pytest.mark.parametrize(
    ("first_ghz", "last_ghz", "printed_ghz"),
    [(10, 20, 159.184), (10, 40, 159.243), (20, 110, 159.769)],
)
def test_transit_frequency_by_extrapolation(
    first_ghz: float, last_ghz: float, printed_ghz: float
) -> None:
    """Each window has its own value, by the rising |h21| f; its uncertainty covers fT itself."""
    f = window(first_ghz, last_ghz)
    found = taken("transit frequency by extrapolation", DEVICE.s(f), f, "window")
    assert found.value[0] == pytest.approx(printed_ghz * 1e9, abs=5e5)
    assert found.remarks[0] == f"extrapolated beyond the last point, {last_ghz}\u202fGHz"
    assert abs(found.value[0] - 159.154943e9) < 2 * found.u_extraction[0]
    assert found.details["share_used"][0] == 1.0


def test_transit_frequency_at_one_point_is_the_gain_bandwidth_product() -> None:
    found = taken("transit frequency by extrapolation", DEVICE.s(TEN_GHZ), TEN_GHZ, "window")
    assert found.value[0] == pytest.approx(159.1675e9, abs=5e4)
    assert "too few points for a slope" in found.remarks[0]


def test_transit_frequency_by_the_imaginary_part() -> None:
    """159.155 GHz at the low end to 162.196 GHz at 110 GHz."""
    f = np.array([10e6, 110e9])
    quantity = FIGURES["transit frequency by Im(1/h21)"].quantity(DEVICE.s(f)[None], f, AROUND)
    assert quantity[0, 0] == pytest.approx(159.154943e9, abs=5e3)
    assert quantity[0, 1] == pytest.approx(162.196e9, abs=5e5)
    low = np.linspace(0.5e9, 10e9, 20)
    level = taken("transit frequency by Im(1/h21)", DEVICE.s(low), low, "window")
    assert level.value[0] == pytest.approx(159.16e9, abs=1e7)
    assert not level.remarks[0] and level.details["flat_to_hz"][0] == 10e9


def test_maximum_frequency_of_oscillation() -> None:
    f = window(10, 110)
    found = taken("maximum frequency of oscillation from U", DEVICE.s(f), f, "window")
    assert found.value[0] == pytest.approx(225.079079e9, abs=5e2)
    assert found.u_extraction[0] < 1e6
    assert found.details["slope_db_per_decade"][0] == pytest.approx(-20.0, abs=1e-6)


def test_points_with_negative_u_are_left_out_and_counted() -> None:
    """Negative resistance at the gate makes the device active in itself at five points: U < 0."""
    f = window(10, 50)
    u_db = FIGURES["maximum frequency of oscillation from U"]
    s = DEVICE.s(f)
    s[:5] = HybridPi(rg=-2.0).s(f[:5])
    assert (gains.unilateral_gain(at(s[:5])) < 0).all()
    quantity = u_db.quantity(s[None], f, AROUND)
    found = u_db.estimate(quantity, f, "window")
    assert found.value[0] == pytest.approx(225.079079e9, rel=1e-9)
    assert found.details["share_used"][0] == 76 / 81
    assert "76 of 81 points used (5 left out, U is not above 0 there)" in found.remarks[0]


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("transconductance", 0.1),
        ("output conductance", 5e-3),
        ("gate-source capacitance", 80e-15),
        ("gate-drain capacitance", 20e-15),
        ("drain-source capacitance", 30e-15),
        ("gate resistance", 5.0),
    ],
)
def test_small_signal_elements_are_exact(name: str, expected: float) -> None:
    f = window(1, 110)
    point = taken(name, DEVICE.s(TEN_GHZ), TEN_GHZ, "frequency")
    over = taken(name, DEVICE.s(f), f, "window")
    assert point.value[0] == pytest.approx(expected, rel=1e-9)
    assert over.value[0] == pytest.approx(expected, rel=1e-9)
    assert not over.remarks[0] and over.details["flat_share"][0] == 1.0


def test_access_resistances_and_the_device_without_them() -> None:
    """Taken from the device with its channel off and no gm; the elements are exact afterwards."""
    f = window(1, 60)
    access = {"rg": 4.0, "rs": 1.2, "rd": 2.1}
    cold = HybridPi(gm=0.0, gds=1e-12, cgs=35e-15, cgd=34e-15, **access).s(f)
    hot = HybridPi(**access).s(f)
    r = access_resistances(np.stack([cold, cold * np.nan]), f, 50.0)
    assert r[0] == pytest.approx([4.0, 1.2, 2.1], rel=1e-6) and np.isnan(r[1]).all()
    inner = without_access(hot[None], r[:1], 50.0)
    assert inner[0] == pytest.approx(HybridPi(rg=0.0).s(f), abs=1e-8)
    gm = taken("transconductance", inner, f, "window")
    assert gm.value[0] == pytest.approx(0.1, rel=1e-6)
    seen = taken("transconductance", hot, f, "window").value[0]
    assert abs(seen - 0.1) > 5e-3  # with the source resistance still there


def test_noise_of_the_low_end_hardly_moves_the_access_resistances() -> None:
    f = window(1, 60)
    rng = np.random.default_rng(3)
    cold = HybridPi(gm=0.0, gds=1e-12, cgs=35e-15, cgd=34e-15, rg=4.0, rs=1.2, rd=2.1).s(f)
    noise = 1e-3 * (rng.normal(size=(50, *cold.shape)) + 1j * rng.normal(size=(50, *cold.shape)))
    r = access_resistances(cold + noise, f, 50.0)
    assert np.abs(r.mean(axis=0) - [4.0, 1.2, 2.1]).max() < 0.05
    assert r.std(axis=0).max() < 0.2


def test_an_element_that_is_not_constant_is_said_to_be_so() -> None:
    """With a source resistance left in, gds does not stay the same over frequency."""
    f = window(1, 110)
    found = taken("output conductance", HybridPi(rs=2.0).s(f), f, "window")
    assert found.remarks[0].startswith("not flat over the window: 37 of 219 points within 5 %")
    assert found.u_extraction[0] > 0.1 * found.value[0]
