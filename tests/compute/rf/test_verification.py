"""Deviations from references, and their verdicts against masks."""

import numpy as np
import pytest

from sitegen.compute.rf.definitions import Load, Open, Short, Thru
from sitegen.compute.rf.interpolation import interpolate
from sitegen.compute.rf.verification import (
    Attenuator,
    Deviation,
    Mask,
    Quantity,
    ReferenceData,
    deviation,
    judge,
    reference_s,
)
from tests.compute.rf import forward as fw

BAND_HZ = fw.BAND_HZ
FIVE_HZ = np.array([1e9, 2e9, 3e9, 4e9, 5e9])


def one_port(values: list[complex]) -> Deviation:
    found: fw.Array = 1.0 + np.array(values, dtype=np.complex128)
    return deviation(found, np.ones(len(values), complex))


def mask(quantity: Quantity = "complex deviation", **changed: tuple[float, ...]) -> Mask:
    points = {"frequency_hz": (1e9, 5e9), "limit": (0.1, 0.1)} | changed
    return Mask(1, 1, quantity, points["frequency_hz"], points["limit"])


class TestReferences:
    def test_line(self) -> None:
        s = reference_s(Thru(3e-12, 55.0), BAND_HZ, 50.0, 2)
        expected = fw.line_s(BAND_HZ, 2j * np.pi * BAND_HZ * 3e-12, 55.0)
        assert np.abs(s - expected).max() < 1e-13

    def test_attenuator_is_matched_and_halves_at_6_db(self) -> None:
        s = reference_s(Attenuator(6.0206, 1e-12), BAND_HZ, 50.0, 2)
        assert np.abs(s[:, 0, 0]).max() == 0
        expected = 0.5 * np.exp(-2j * np.pi * BAND_HZ * 1e-12)
        assert np.abs(s[:, 1, 0] - expected).max() < 1e-6

    def test_reflects_stand_at_both_ports(self) -> None:
        for reference in (Short(), Open(), Load(25.0)):
            two, one = (reference_s(reference, BAND_HZ, 50.0, n) for n in (2, 1))
            assert np.array_equal(two[:, 0, 0], one)
            assert np.array_equal(two[:, 1, 1], one)
            assert np.abs(two[:, 0, 1]).max() == 0

    def test_data_are_interpolated_and_never_extrapolated(self) -> None:
        data = ReferenceData(np.array([2e9, 4e9]), np.array([1.0 + 0j, 0.0 + 1j]))
        s = reference_s(data, FIVE_HZ, 50.0, 1)
        assert np.isnan(s).tolist() == [True, False, False, False, True]
        assert s[1:4].tolist() == [1, 0.5 + 0.5j, 1j]

    def test_a_two_port_reference_does_not_fit_one_port(self) -> None:
        with pytest.raises(ValueError, match="two ports"):
            reference_s(Thru(), BAND_HZ, 50.0, 1)
        with pytest.raises(ValueError, match="do not fit"):
            reference_s(ReferenceData(FIVE_HZ, np.ones(5, complex)), BAND_HZ, 50.0, 2)


class TestDeviation:
    def test_three_ways_to_say_it(self) -> None:
        found = deviation(np.array([0.5j]), np.array([1.0 + 0j]))
        assert found.complex[0] == -1 + 0.5j
        assert found.magnitude_db[0] == pytest.approx(-6.0206, abs=1e-4)
        assert found.phase_deg[0] == pytest.approx(90.0)

    def test_phase_and_decibel_of_nothing_are_undefined(self) -> None:
        found = deviation(np.array([0.1 + 0j]), np.array([0j]))
        assert found.complex[0] == 0.1
        assert np.isnan(found.magnitude_db[0])
        assert np.isnan(found.phase_deg[0])


class TestJudge:
    def test_within(self) -> None:
        result = judge(one_port([0.01, 0.02, 0.05j, 0.01, 0]), FIVE_HZ, mask())
        assert result.passed
        assert result.worst_ratio == pytest.approx(0.5)
        assert result.worst_margin == pytest.approx(0.05)
        assert result.worst_at_hz == 3e9
        assert (result.n_judged, result.n_outside_mask) == (5, 0)

    def test_outside_at_one_point_fails(self) -> None:
        result = judge(one_port([0, 0, 0, -0.11, 0]), FIVE_HZ, mask())
        assert result.verdict == "failed"
        assert result.worst_margin == pytest.approx(-0.01)
        assert result.worst_at_hz == 4e9

    def test_exactly_on_the_limit_passes(self) -> None:
        found = deviation(np.full(5, 0.25 + 0j), np.zeros(5, complex))
        assert judge(found, FIVE_HZ, mask(limit=(0.25, 0.25))).passed

    def test_the_limit_is_a_straight_line_between_points(self) -> None:
        result = judge(one_port([0] * 5), FIVE_HZ, mask(limit=(0.1, 0.3)))
        assert result.limit == pytest.approx([0.1, 0.15, 0.2, 0.25, 0.3])

    def test_points_outside_the_mask_are_counted_and_not_judged(self) -> None:
        narrow = mask(frequency_hz=(2e9, 4e9))
        result = judge(one_port([9, 0, 0, 0, 9]), FIVE_HZ, narrow)
        assert result.passed
        assert (result.n_judged, result.n_outside_mask) == (3, 2)
        assert np.isnan(result.limit[[0, 4]]).all()

    def test_nan_is_not_assessable_and_never_passes(self) -> None:
        result = judge(one_port([0, np.nan, 0, 0, 0]), FIVE_HZ, mask())
        assert result.verdict == "not assessable"
        assert not result.passed
        assert result.n_not_determined == 1

    def test_a_nan_does_not_hide_a_failure(self) -> None:
        assert judge(one_port([0, np.nan, 1, 0, 0]), FIVE_HZ, mask()).verdict == "failed"

    def test_a_mask_elsewhere_judges_nothing(self) -> None:
        result = judge(one_port([0] * 5), FIVE_HZ, mask(frequency_hz=(50e9, 60e9)))
        assert result.verdict == "not assessable"
        assert np.isnan(result.worst_ratio)

    def test_quantities_and_ports(self) -> None:
        corrected = np.zeros((1, 2, 2), complex)
        corrected[0, 1, 0] = 0.5j
        reference = np.zeros((1, 2, 2), complex)
        reference[0, 1, 0] = 1.0
        found, at_hz = deviation(corrected, reference), np.array([2e9])
        sizes = {"complex deviation": abs(-1 + 0.5j), "magnitude db": 6.0206, "phase deg": 90.0}
        for quantity, size in sizes.items():
            limit = Mask(2, 1, quantity, (1e9, 3e9), (100.0, 100.0))  # type: ignore[arg-type] # keys are the quantities
            assert judge(found, at_hz, limit).deviation[0] == pytest.approx(size, abs=1e-4)

    def test_impossible_masks_are_refused(self) -> None:
        for points in ({"limit": (0.1,)}, {"limit": (0.0, 1.0)}, {"frequency_hz": (5e9, 1e9)}):
            with pytest.raises(ValueError, match="mask"):
                mask(**points)


class TestInterpolate:
    def test_a_measured_point_stands_whatever_its_neighbours_hold(self) -> None:
        values = np.array([[np.nan, 2.0, np.nan, 4.0, 6.0]], complex)
        at = interpolate(values, FIVE_HZ, np.array([2e9, 2.5e9, 4.5e9, 6e9, 0.5e9]))
        assert at[0, 0] == 2.0
        assert at[0, 2] == 5.0
        assert np.isnan(at[0, [1, 3, 4]]).all()

    def test_one_point_is_a_legal_sweep(self) -> None:
        at = interpolate(np.array([3.0 + 0j]), np.array([1e9]), np.array([1e9, 2e9]))
        assert at[0] == 3.0
        assert np.isnan(at[1])
