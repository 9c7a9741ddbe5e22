"""Laws of correction and judgement for inputs nobody thought of."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from sitegen.compute.rf.checks import largest_singular_value
from sitegen.compute.rf.correct import correct, uncorrect
from sitegen.compute.rf.definitions import Load, Offset, Open, Short, Thru, reflection, transmission
from sitegen.compute.rf.interpolation import interpolate
from sitegen.compute.rf.terms import DrivenTerms, TwoPortTerms
from sitegen.compute.rf.verification import Mask, deviation, judge
from tests.compute.rf import forward as fw

FEW = settings(max_examples=40, deadline=None, derandomize=True)
complex_below = st.complex_numbers(max_magnitude=0.4, allow_nan=False)
tracking = st.complex_numbers(min_magnitude=0.05, max_magnitude=2.0)
delays_s = st.floats(0, 20e-12)
impedances_ohm = st.floats(20, 120)
losses_ohm_per_s = st.floats(0, 1e10)


@st.composite
def driven(draw: st.DrawFn) -> DrivenTerms:
    small = [np.array([draw(complex_below)]) for _ in range(4)]
    through = [np.array([draw(tracking)]) for _ in range(2)]
    return DrivenTerms(small[0], small[1], through[0], small[2], through[1], small[3])


@FEW
@given(driven(), driven(), st.lists(complex_below, min_size=4, max_size=4))
def test_corrected_of_measured_is_the_device(
    forward: DrivenTerms, reverse: DrivenTerms, s: list[complex]
) -> None:
    terms = TwoPortTerms(np.array([1e9]), 50.0, forward, reverse)
    device = np.array(s).reshape(1, 2, 2)
    assert np.abs(correct(terms, uncorrect(terms, device)) - device).max() < 1e-10


@FEW
@given(delays_s, impedances_ohm, losses_ohm_per_s)
def test_a_line_is_reciprocal_and_passive(delay_s: float, z0_ohm: float, loss: float) -> None:
    s = transmission(Thru(delay_s, z0_ohm, loss), fw.BAND_HZ, 50.0)
    assert np.array_equal(s[:, 0, 1], s[:, 1, 0])
    assert largest_singular_value(s).max() <= 1.0 + 1e-12


@FEW
@given(delays_s, impedances_ohm, st.floats(-20e-15, 20e-15), st.floats(-30e-12, 30e-12))
def test_reflects_without_loss_reflect_everything(
    delay_s: float, z0_ohm: float, capacitance_f: float, inductance_h: float
) -> None:
    offset = Offset(delay_s, z0_ohm)
    for standard in (Open(capacitance_f, offset), Short(inductance_h, offset)):
        assert np.abs(np.abs(reflection(standard, fw.BAND_HZ, 50.0)) - 1).max() < 1e-9


@FEW
@given(delays_s, st.floats(1, 500), st.floats(0, 30e-12), st.floats(0, 20e-15))
def test_a_load_absorbs(
    delay_s: float, resistance_ohm: float, inductance_h: float, capacitance_f: float
) -> None:
    load = Load(resistance_ohm, inductance_h, capacitance_f, Offset(delay_s))
    assert np.abs(reflection(load, fw.BAND_HZ, 50.0)).max() < 1.0


@FEW
@given(
    st.lists(st.floats(-2, 2) | st.just(float("nan")), min_size=1, max_size=8),
    st.floats(0.01, 1.0),
)
def test_a_verdict_is_never_better_than_its_points(sizes: list[float], limit: float) -> None:
    frequency_hz = np.arange(1.0, len(sizes) + 1)
    found = deviation(np.array(sizes, complex), np.zeros(len(sizes), complex))
    mask = Mask(1, 1, "complex deviation", (0.0, 100.0), (limit, limit))
    every_point_is_within = all(abs(size) <= limit for size in sizes)
    some_point_is_outside = any(abs(size) > limit for size in sizes)
    verdict = judge(found, frequency_hz, mask).verdict
    assert (verdict == "passed") == every_point_is_within
    assert (verdict == "failed") == some_point_is_outside


@FEW
@given(st.lists(complex_below, min_size=2, max_size=6), st.floats(0, 1))
def test_interpolation_stays_between_its_neighbours(values: list[complex], place: float) -> None:
    frequency_hz = np.arange(len(values), dtype=float)
    at_hz = np.array([place * (len(values) - 1)])
    value = interpolate(np.array(values), frequency_hz, at_hz)[0]
    assert abs(value) <= max(map(abs, values)) + 1e-12
