"""Slopes, currents, breakdown and resistances: exact on their own laws, fits as scipy fits them."""

import numpy as np
import pytest
from scipy import signal, stats

from sitegen.compute.dc.accuracy import Instruments, RangeAccuracy, instrument_uncertainty
from sitegen.compute.dc.conductances import conductance_at
from sitegen.compute.dc.crossings import breakdown_voltage, current_at, on_resistance
from sitegen.compute.dc.curves import Curves
from sitegen.compute.dc.estimates import IN_95_PERCENT, Estimate
from sitegen.compute.dc.figures import ESTIMATORS, extract
from sitegen.compute.dc.fits import line, polynomial
from sitegen.compute.dc.slopes import (
    ideality_factor,
    resistance,
    resistance_of_one_contact,
    subthreshold_slope,
)
from sitegen.model.curve_figures import CURVE_FIGURE_NEEDS, CURVE_FIGURE_UNITS
from tests.compute.dc import laws
from tests.compute.dc.coverage_curves import figure

V = np.arange(61) * 0.02


def test_every_figure_of_the_records_has_an_estimator() -> None:
    assert set(ESTIMATORS) == set(CURVE_FIGURE_UNITS) == set(CURVE_FIGURE_NEEDS)


def test_a_line_is_that_of_scipy() -> None:
    """Slope, intercept and their standard errors as scipy.stats.linregress gives them."""
    random = np.random.default_rng(3)
    x = random.uniform(0, 1, 12)
    y = 2 + 3 * x + 0.1 * random.normal(size=12)
    used = np.ones((1, 12), dtype=bool)
    fit = line(x[None], y[None], used)
    wanted = stats.linregress(x, y)
    widening = stats.t.ppf(0.975, 10) / IN_95_PERCENT
    zero = np.zeros(1)
    assert fit.c[0, 1] == pytest.approx(wanted.slope, rel=1e-12)
    assert fit.value(zero)[0] == pytest.approx(wanted.intercept, rel=1e-12)
    assert fit.u(fit.row(zero, 1))[0] / widening == pytest.approx(wanted.stderr, rel=1e-12)
    assert fit.u(fit.row(zero))[0] / widening == pytest.approx(wanted.intercept_stderr, rel=1e-12)


def test_a_polynomial_is_that_of_numpy() -> None:
    random = np.random.default_rng(4)
    x, y = np.sort(random.uniform(0, 1, 15)), random.normal(size=15)
    used = np.arange(15) < 12
    fit = polynomial(x[None], y[None], used[None], np.array([0.4]), 3)
    wanted = np.polynomial.Polynomial.fit(x[used], y[used], 3)
    at = np.array([0.33])
    for order in range(3):
        assert fit.value(at, order)[0] == pytest.approx(wanted.deriv(order)(0.33), rel=1e-9)


def test_a_conductance_on_equal_steps_is_the_savitzky_golay_derivative() -> None:
    """scipy.signal.savgol_filter: seven points, cubic, first derivative."""
    current = np.random.default_rng(5).normal(size=(4, len(V)))
    wanted = signal.savgol_filter(current, 7, 3, deriv=1, delta=0.02, axis=1)
    found = conductance_at(laws.curves(V, current), V[30])
    np.testing.assert_allclose(found.value, wanted[:, 30], rtol=1e-9)


def test_a_conductance_is_exact_on_a_cubic() -> None:
    found = conductance_at(laws.curves(V, V**3 - 2 * V + 1), 0.777)
    assert found.value[0] == pytest.approx(3 * 0.777**2 - 2, rel=1e-12)


def test_a_subthreshold_slope_is_exact_on_an_exponential_law() -> None:
    decades = np.linspace(0.06, 0.12, 13)
    currents = np.array([laws.exponential(V, 1e-12, one) for one in decades])
    found = subthreshold_slope(laws.curves(V, currents), (1e-10, 1e-7))
    np.testing.assert_allclose(found.value, decades, rtol=1e-12)


def test_a_subthreshold_slope_uses_no_point_below_the_floor() -> None:
    """A constant leakage flattens the curve where it is below the floor; what is left is exact."""
    current = np.maximum(laws.exponential(V, 1e-12, 0.09), 3e-11)
    below = (current < 1e-10)[None]
    curves = laws.curves(V, current, usable=~below, below_floor=below)
    found = subthreshold_slope(curves, (1e-12, 1e-7))
    assert found.value[0] == pytest.approx(0.09, rel=1e-12)
    assert not (found.used & below).any()
    spoilt = subthreshold_slope(laws.curves(V, current), (1e-12, 1e-7))
    assert spoilt.value[0] > 0.1


def test_a_leakage_that_rises_to_the_other_side_is_not_the_flank() -> None:
    v = np.arange(-0.6, 0.61, 0.02)
    current = laws.exponential(v, 1e-10, 0.09) + laws.exponential(-v, 1e-12, 0.2)
    found = subthreshold_slope(laws.curves(v, current), (1e-9, 1e-6))
    assert found.value[0] == pytest.approx(0.09, rel=2e-2)


def test_an_ideality_factor_is_exact_and_follows_the_temperature() -> None:
    """I = I_S exp(q V/(n k T)), with k/q of CODATA 2018."""
    kelvin = np.array([250.0, 300.0, 400.0])
    v = np.arange(0.3, 0.71, 0.01)
    thermal = laws.BOLTZMANN_OVER_CHARGE * kelvin[:, None]
    current = 1e-14 * np.exp(v / (1.08 * thermal))
    found = ideality_factor(laws.curves(v, current, temperature_k=kelvin), (1e-10, 1e-4))
    np.testing.assert_allclose(found.value, 1.08, rtol=1e-9)  # k/q is quoted to ten digits


def test_a_diode_near_zero_is_not_exponential() -> None:
    """ln I of I_S (exp(v) - 1) is steeper by 1/(1 - exp(-v)): n comes out smaller."""
    v = np.arange(0.005, 0.0501, 0.005)
    current = 1e-9 * np.expm1(v / (laws.BOLTZMANN_OVER_CHARGE * 300))
    found = ideality_factor(laws.curves(v, current), (1e-10, 1e-4))
    assert 0.3 < found.value[0] < 0.8


def test_a_current_at_a_point_is_the_reading_itself() -> None:
    current = np.random.default_rng(6).normal(size=(3, len(V)))
    found = current_at(laws.curves(V, current), 0.4)
    np.testing.assert_array_equal(found.value, current[:, 20])
    assert (found.used.sum(axis=1) == 1).all()
    assert found.used[:, 20].all()


def test_a_current_between_points_is_exact_on_an_exponential_law() -> None:
    found = current_at(laws.curves(V, laws.exponential(V, 1e-12, 0.09)), 0.4511)
    assert found.value[0] == pytest.approx(1e-12 * 10 ** (0.4511 / 0.09), rel=1e-9)


def test_a_place_in_single_precision_is_found() -> None:
    swept = V.astype(np.float32).astype(np.float64)
    for at in (0.0, 0.6, 1.2):
        found = current_at(laws.curves(swept, 1e-3 * V), at)
        assert found.value[0] == pytest.approx(1e-3 * at, abs=1e-10)


def test_a_current_beyond_the_sweep_or_in_compliance_has_no_value() -> None:
    stopped = (V > 0.9)[None]
    curves = laws.curves(V, 1e-3 * V, in_compliance=stopped, usable=~stopped)
    assert current_at(curves, 1.3).no_value[0] == "1.3 lies outside the sweep"
    assert current_at(curves, 1.0).no_value[0] == "the source was in compliance there"


def test_on_resistance() -> None:
    at = on_resistance(laws.curves(V, V / 12.5), 0.1)
    stated = on_resistance(laws.curves(V, V / 12.5, drain_v=np.array([0.05])), 0.1)
    assert (at.value[0], stated.value[0]) == pytest.approx((12.5, 6.25), rel=1e-12)


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("forced", [True, False])
def test_breakdown_is_a_size_whatever_was_swept(sign: int, forced: bool) -> None:
    volts = np.arange(0.5, 40.1, 0.5)
    amps = laws.exponential(volts, 1e-12, 4.0)
    axes = (amps, volts) if forced else (volts, amps)
    curves = laws.curves(
        sign * axes[0], sign * axes[1], swept_is_current=forced, measured_is_current=not forced
    )
    found = breakdown_voltage(curves, 1e-6)
    assert found.value[0] == pytest.approx(24.0, rel=1e-12)
    assert not found.not_reached[0]


def test_breakdown_not_reached_is_censored_at_the_greatest_voltage_without_compliance() -> None:
    volts = np.arange(0.0, 40.1, 0.5)
    amps = laws.exponential(volts, 1e-12, 4.0)
    stopped = (volts > 20.2)[None]
    curves = laws.curves(volts, amps, in_compliance=stopped, usable=~stopped)
    found = breakdown_voltage(curves, 1e-6)
    assert (found.value[0], found.not_reached[0]) == (20.0, True)
    assert found.remarks[0].endswith("where the source went into compliance")
    ended = breakdown_voltage(laws.curves(volts, amps), 1.0)
    assert (ended.value[0], ended.not_reached[0]) == (40.0, True)
    assert ended.remarks[0].endswith("where the sweep ended")
    already = breakdown_voltage(laws.curves(volts, amps), 1e-13)
    assert np.isnan(already.value[0])
    assert already.no_value[0].endswith("at the first point")


def test_four_terminals_leave_a_constant_voltage_out() -> None:
    amps = np.linspace(-1e-3, 1e-3, 11)
    sensed = laws.curves(
        amps, 12.5 * amps + 3e-6, swept_is_current=True, measured_is_current=False, links=50
    )
    assert resistance(sensed, (-1e-3, 1e-3)).value[0] == pytest.approx(12.5, rel=1e-12)
    one = resistance_of_one_contact(sensed, (-1e-3, 1e-3))
    assert one.value[0] == pytest.approx(0.25, rel=1e-12)
    forced_voltage = laws.curves(12.5 * amps + 3e-6, amps)
    assert resistance(forced_voltage, (-1.0, 1.0)).value[0] == pytest.approx(12.5, rel=1e-12)
    unknown = resistance_of_one_contact(laws.curves(12.5 * amps, amps), (-1.0, 1.0))
    assert "number of contacts" in unknown.no_value[0]


def test_a_drain_induced_shift() -> None:
    first = laws.exponential(V, 1e-12, 0.085)
    second = laws.exponential(V + 0.06, 1e-12, 0.085)
    wanted = figure("drain-induced shift", current_a=1e-8, stepped_pair=(0.05, 1.25))
    found = extract(laws.curves(V, np.array([first, second])), wanted)
    assert found.value[0] == pytest.approx(0.05, rel=1e-12)
    as_p = figure("drain-induced shift", current_a=1e-8, stepped_pair=(-1.25, -0.05))
    turned = extract(laws.curves(V, np.array([second, first])), as_p, -1)
    assert turned.value[0] == pytest.approx(0.05, rel=1e-12)


def test_axes_that_do_not_suit_the_figure_are_told() -> None:
    sensed = laws.curves(V, V, swept_is_current=True, measured_is_current=False)
    found = extract(sensed, figure("subthreshold slope", current_window_a=(1e-9, 1e-6)))
    assert found.no_value[0] == "the curve's axes do not suit the figure"


def test_a_sweep_that_turns_back_counts_by_its_first_leg() -> None:
    there = laws.exponential(V, 1e-12, 0.09)
    back = laws.exponential(V[::-1], 3e-12, 0.09)
    both = laws.curves(np.concatenate([V, V[::-1]]), np.concatenate([there, back]))
    found = extract(both, figure("threshold by constant current", current_a=1e-7))
    assert found.value[0] == pytest.approx(0.45, rel=1e-12)


def test_a_downward_sweep_gives_the_same() -> None:
    down = laws.curves(V[::-1], laws.exponential(V[::-1], 1e-12, 0.09))
    found = extract(down, figure("threshold by constant current", current_a=1e-7))
    assert found.value[0] == pytest.approx(0.45, rel=1e-12)


def test_a_stepped_drain_voltage_off_by_half_a_millivolt_counts() -> None:
    curves = laws.curves(V, V / 12.5, drain_v=np.array([0.1]))
    wanted = figure("on-resistance", swept_at=0.1)
    ranges = np.full(curves.swept.shape, "R", dtype=object)

    def again(one: Curves) -> Estimate:
        return extract(one, wanted)

    found = again(curves)
    drain = Instruments({}, drain=RangeAccuracy(0.0, 5e-4))
    u = instrument_uncertainty(again, curves, found, ranges, drain)
    assert u[0] / found.value[0] == pytest.approx(5e-3, rel=1e-9)
