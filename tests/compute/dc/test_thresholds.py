"""Each threshold convention gives the exact answer on its own ideal law, and the offset that
algebra gives on another.

Laws: square law of the triode region; square law of saturation; the triode region with the
mobility falling as 1/(1 + theta x) (Ghibaudo, Electron. Lett. 24 (1988) 543, quoted from memory);
an exponential law. Offsets are derived where they are used.
"""

import numpy as np
import pytest

from sitegen.compute.dc.conductances import greatest_transconductance, threshold_by_extrapolation
from sitegen.compute.dc.crossings import threshold_by_constant_current
from sitegen.compute.dc.curves import Curves
from sitegen.compute.dc.figures import extract
from sitegen.compute.dc.y_function import threshold_by_y_function
from sitegen.model.arrays import FloatArray
from tests.compute.dc import laws
from tests.compute.dc.coverage_curves import figure

V = np.arange(61) * 0.02
V_T = np.linspace(0.31, 0.52, 22)
V_DS = 0.05
DRAIN_V = np.full(len(V_T), V_DS)
GAIN = 2e-3
ROUNDING_V = 2e-14
"""Some hundred roundings of a number near one."""


def assert_exact(found: FloatArray, wanted: FloatArray) -> None:
    np.testing.assert_allclose(found, wanted, rtol=0, atol=ROUNDING_V)


def triode() -> Curves:
    return laws.curves(V, np.array([laws.triode(V, one, V_DS) for one in V_T]), drain_v=DRAIN_V)


def degraded(theta: float) -> Curves:
    currents = [laws.degraded(V, one, V_DS, theta, GAIN) for one in V_T]
    return laws.curves(V, np.array(currents), drain_v=DRAIN_V)


def test_extrapolation_is_exact_in_the_triode_region() -> None:
    found = threshold_by_extrapolation(triode())
    assert_exact(found.value, V_T)
    assert (found.u_extraction < 1e-14).all()


def test_without_half_the_drain_voltage_it_is_off_by_it() -> None:
    """The intercept itself is V_T + V_DS/2: the square law is b V_DS (V_GS - V_T - V_DS/2)."""
    at_no_drain = laws.curves(V, triode().measured, drain_v=np.zeros(len(V_T)))
    found = threshold_by_extrapolation(at_no_drain)
    assert_exact(found.value, V_T + V_DS / 2)


def test_the_y_function_is_exact_in_the_triode_region() -> None:
    found = threshold_by_y_function(triode(), (0.7, 1.2))
    assert_exact(found.value, V_T)


@pytest.mark.parametrize("theta", [0.1, 0.4, 1.5])
def test_the_y_function_is_exact_whatever_the_mobility_does(theta: float) -> None:
    found = threshold_by_y_function(degraded(theta), (0.7, 1.2))
    assert_exact(found.value, V_T)


@pytest.mark.parametrize("theta", [0.1, 0.4, 1.5])
def test_extrapolation_with_falling_mobility_is_off_as_algebra_says(theta: float) -> None:
    """With I = a x/(1 + theta x) the slope is a/(1 + theta x)^2, so the tangent at x meets zero at
    x - x (1 + theta x) = -theta x^2. The threshold is first far below the sweep, so that x is
    large: the slope is greatest at the first point."""
    v_t = 0.1
    swept = np.arange(0.5, 1.2001, 0.02)
    curves = laws.curves(
        swept, laws.degraded(swept, v_t, V_DS, theta, GAIN), drain_v=np.array([V_DS])
    )
    found = threshold_by_extrapolation(curves)
    x = 0.5 - v_t - V_DS / 2
    assert found.details["greatest_at"][0] == 0.5
    assert found.remarks[0] == "the slope is greatest at the end of the sweep"
    # The neighbourhood's polynomial is not the law: it follows it to a part in ten thousand.
    assert found.value[0] - v_t == pytest.approx(-theta * x**2, rel=2e-3)
    assert abs(found.value[0] - v_t) > 0.01


def test_extrapolation_in_saturation_is_off_by_half_the_overdrive_of_the_tangent() -> None:
    """With I = b/2 x^2 the tangent at x meets zero at x - x/2; the slope is greatest at the end."""
    curves = laws.curves(
        V, np.array([laws.saturated(V, one) for one in V_T]), drain_v=np.zeros(len(V_T))
    )
    found = threshold_by_extrapolation(curves)
    assert_exact(found.value, V_T + (V[-1] - V_T) / 2)


def test_the_greatest_transconductance_of_the_triode_region_is_its_slope() -> None:
    found = greatest_transconductance(triode())
    np.testing.assert_allclose(found.value, GAIN * V_DS, rtol=1e-12)


def test_constant_current_is_exact_on_an_exponential_law() -> None:
    """I0 10^(V/d) reaches I at d log10(I/I0), between the points of any sweep."""
    decades = np.linspace(0.06, 0.12, 13)
    currents = np.array([laws.exponential(V, 1e-12, one) for one in decades])
    found = threshold_by_constant_current(laws.curves(V, currents), 1e-7)
    assert_exact(found.value, 5 * decades)


def test_constant_current_in_the_triode_region_is_off_as_algebra_says() -> None:
    """b V_DS (V - V_T - V_DS/2) = I at V = V_T + V_DS/2 + I/(b V_DS); between points the logarithm
    is interpolated, whose chord is h^2/(8 x) at most from a line of overdrive x."""
    current_a, h = 4e-5, 2e-3
    fine = np.arange(0.3, 1.2, h)
    currents = np.array([laws.triode(fine, one, V_DS) for one in V_T])
    found = threshold_by_constant_current(laws.curves(fine, currents), current_a)
    x = current_a / (GAIN * V_DS)
    off = found.value - (V_T + V_DS / 2 + x)
    assert np.abs(off).max() < h**2 / (8 * x) * 1.01
    assert np.abs(off).max() > 0


def test_conventions_differ_on_one_transistor_and_none_is_the_others() -> None:
    curves = laws.curves(V, laws.soft(V, 0.4, V_DS), drain_v=np.array([V_DS]))
    by = {
        "current": threshold_by_constant_current(curves, 1e-7).value[0],
        "extrapolation": threshold_by_extrapolation(curves).value[0],
        "Y": threshold_by_y_function(curves, (0.7, 1.2)).value[0],
    }
    assert by["Y"] + V_DS / 2 == pytest.approx(0.4, abs=1e-3)
    assert by["extrapolation"] < by["Y"] - 5e-3
    assert by["current"] < by["Y"] - 5e-3


def test_a_p_device_has_the_negative_of_its_n_twin() -> None:
    """Curves come turned; the declared places have the device's own signs."""
    window = figure("threshold by Y-function", swept_window=(-1.2, -0.7))
    assert_exact(extract(triode(), window, -1).value, -V_T)
    at = figure("current", swept_at=-1.2)
    np.testing.assert_allclose(
        extract(triode(), at, -1).value, -laws.triode(V[-1:], 0.0, V_DS) + GAIN * V_DS * V_T
    )


def test_what_has_no_threshold_says_why() -> None:
    flat = laws.curves(V, np.full((1, len(V)), 1e-9), drain_v=np.array([V_DS]))
    reaches = threshold_by_constant_current(flat, 1e-7)
    above = threshold_by_constant_current(flat, 1e-10)
    assert np.isnan([reaches.value[0], above.value[0]]).all()
    assert reaches.no_value[0].startswith("the current does not reach 100")
    assert above.no_value[0].startswith("the current is above 100")
    assert threshold_by_extrapolation(flat).no_value[0] == "the current does not rise"
    unknown = laws.curves(V, laws.triode(V, 0.4, V_DS))
    assert threshold_by_extrapolation(unknown).no_value[0] == "the drain voltage is not known"
    short = laws.curves(V[:5], laws.triode(V[:5], 0.0, V_DS), drain_v=np.array([V_DS]))
    assert threshold_by_extrapolation(short).no_value[0].startswith("fewer than 7 points")
    empty = laws.curves(V, np.full((1, len(V)), np.nan), drain_v=np.array([V_DS]))
    for wanted in (
        figure("threshold by extrapolation"),
        figure("threshold by Y-function", swept_window=(0.7, 1.2)),
        figure("threshold by constant current", current_a=1e-7),
    ):
        found = extract(empty, wanted)
        assert np.isnan(found.value[0])
        assert found.no_value[0]
