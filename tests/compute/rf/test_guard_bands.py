"""Deviations under masks with their uncertainty: guard bands, and what they keep of false passes.

Worst-case false acceptance of guarded acceptance, one-sided, k = 2: 50 % for r = 0, 4.85 % for
r = 0.83, 2.275 % for r = 1 (normal distribution; JCGM 106:2012 and ILAC-G8:09/2019 state the
rounded values).
"""

import numpy as np
import pytest
from scipy import stats

from sitegen.compute.rf.differences import Uncertainty, parts_against_reference, uncertainty
from sitegen.compute.rf.propagation import Deviation as SourceDeviation
from sitegen.compute.rf.verification import (
    Deviation,
    Mask,
    Quantity,
    deviation,
    deviation_u,
    guard_band,
    judge,
    rejection_band,
)
from sitegen.model.arrays import FloatArray

AT_HZ = np.array([1e9, 2e9])


def mask(quantity: Quantity, limit: float) -> Mask:
    return Mask(1, 1, quantity, (1e9, 2e9), (limit, limit))


def pair(s: complex, reference: complex, relative_u: float) -> tuple[Deviation, Uncertainty]:
    """One S-parameter at two frequencies, with a round uncertainty of so much of its size."""
    corrected = np.full((2, 1, 1), s)
    against = np.full((2, 1, 1), reference)
    source = SourceDeviation(
        "noise of the sweep", "S11", "circular", np.full((2, 1, 1), relative_u * abs(s) + 0j)
    )
    parts = parts_against_reference(corrected, against, [source], 0.0, ())
    return deviation(corrected, against), uncertainty(parts, (2, 1, 1))


class TestUncertaintyInTheMasksQuantity:
    def test_one_percent_in_decibel_and_degrees(self) -> None:
        found, stated = pair(0.5j, 0.5j, 0.01)
        # 20/ln(10) 1 % and 180/pi 1 %.
        assert deviation_u(found, stated, mask("magnitude db", 1))[0] == pytest.approx(0.0868589)
        assert deviation_u(found, stated, mask("phase deg", 1))[0] == pytest.approx(0.5729578)
        assert deviation_u(found, stated, mask("complex deviation", 1))[0] == pytest.approx(0.005)

    def test_a_level_lost_in_uncertainty_has_no_symmetric_one(self) -> None:
        found, stated = pair(0.003, 0.003, 0.31)
        assert np.isnan(deviation_u(found, stated, mask("magnitude db", 1))).all()
        assert np.isnan(deviation_u(found, stated, mask("phase deg", 1))).all()
        assert np.isfinite(deviation_u(found, stated, mask("complex deviation", 1))).all()

    def test_along_the_deviation_and_the_largest_for_a_tiny_one(self) -> None:
        source = SourceDeviation("definitions", "length", "real", np.full((2, 1, 1), 2e-3j))
        reference = np.ones((2, 1, 1), complex)
        for difference, expected in ((1e-2, 0.0), (1e-2j, 2e-3), (1e-3, 2e-3)):
            parts = parts_against_reference(reference + difference, reference, [source], 0.0, ())
            found = deviation_u(
                deviation(reference + difference, reference),
                uncertainty(parts, (2, 1, 1)),
                mask("complex deviation", 1),
            )
            assert found == pytest.approx(expected, abs=1e-9)


class TestGuardBand:
    def test_a_level_takes_it_from_the_linear_magnitude(self) -> None:
        # +/- 30 % of |S|: 20 lg 1.3 = +2.279 dB and 20 lg 0.7 = -3.098 dB, not +/- 2.6 dB.
        found, stated = pair(0.1, 0.1, 0.15)
        assert guard_band(found, stated, mask("magnitude db", 1), 2.0)[0] == pytest.approx(3.09804)
        found, stated = pair(0.2, 0.1, 0.15)
        above = guard_band(found, stated, mask("magnitude db", 1), 2.0)[0]
        assert above == pytest.approx(2.27887, abs=1e-4)

    def test_a_level_that_is_not_told_from_nothing_has_no_end(self) -> None:
        found, stated = pair(0.001, 0.001, 0.6)
        guard = guard_band(found, stated, mask("magnitude db", 1), 2.0)
        assert np.isinf(guard).all()
        judged = judge(found, AT_HZ, mask("magnitude db", 1), guard)
        assert judged.verdict == "not proven" and judged.n_without_end == 2
        turned = guard_band(found, stated, mask("phase deg", 1), 2.0)
        assert turned.tolist() == [180.0, 180.0]

    def test_a_phase_within_the_arc_of_its_circle(self) -> None:
        found, stated = pair(0.2j, 0.2j, 0.25)
        assert guard_band(found, stated, mask("phase deg", 1), 2.0)[0] == pytest.approx(30.0)

    def test_a_lifted_probe_fails_however_uncertain_its_level_is(self) -> None:
        found, stated = pair(1e-4, 0.9, 3.0)
        guard = guard_band(found, stated, mask("magnitude db", 0.2), 2.0)
        assert judge(found, AT_HZ, mask("magnitude db", 0.2), guard).verdict == "failed"


class TestVerdicts:
    def judged(self, size: float, guard: float) -> str:
        found, _ = pair(1.0 + size, 1.0, 0.0)
        return judge(found, AT_HZ, mask("complex deviation", 0.1), np.full(2, guard)).verdict

    def test_three_zones(self) -> None:
        assert self.judged(0.07, 0.02) == "passed"
        assert self.judged(0.09, 0.02) == "not proven"
        assert self.judged(0.101, 0.02) == "failed"

    def test_worst_point_of_a_failure_is_one_that_exceeds_by_itself(self) -> None:
        found = deviation(np.array([[[1.11 + 0j]], [[1.09 + 0j]]]), np.ones((2, 1, 1), complex))
        judged = judge(found, AT_HZ, mask("complex deviation", 0.1), np.array([0.0, 0.5]))
        assert judged.verdict == "failed"
        assert judged.worst_at_hz == 1e9
        assert judged.worst_ratio == pytest.approx(1.1)
        assert judged.worst_margin == pytest.approx(-0.01)

    def test_margin_holds_the_guard_band(self) -> None:
        found = deviation(np.full((2, 1, 1), 1.05 + 0j), np.ones((2, 1, 1), complex))
        judged = judge(found, AT_HZ, mask("complex deviation", 0.1), np.array([0.02, 0.03]))
        assert judged.worst_at_hz == 2e9
        assert judged.worst_ratio == pytest.approx(0.8)
        assert judged.worst_margin == pytest.approx(0.02)


@pytest.mark.parametrize("r", [0.0, 0.83, 1.0])
@pytest.mark.parametrize("turned", [0.0, 0.6, np.pi / 2])
def test_false_acceptance_is_at_most_that_of_the_guard_band(r: float, turned: float) -> None:
    """A structure that truly lies on the limit passes no more often than Phi(-r k).

    The uncertainty is four times larger along one direction; the true deviation lies at an
    angle `turned` to it.
    """
    number, limit, u = 20_000, 0.1, 1e-3
    rng = np.random.default_rng(round(100 * r + turned))
    errors = (4 * u * rng.normal(size=number) + 1j * u * rng.normal(size=number)) * np.exp(
        1j * turned
    )
    covariance: FloatArray = np.empty((number, 1, 1, 3))
    c, s = np.cos(turned), np.sin(turned)
    covariance[..., :] = (
        u**2 * (16 * c**2 + s**2),
        u**2 * (16 * s**2 + c**2),
        u**2 * 15 * c * s,
    )
    corrected = (1.0 + limit + errors)[:, np.newaxis, np.newaxis]
    found = deviation(corrected, np.ones((number, 1, 1), complex))
    stated = Uncertainty(covariance, covariance)
    at_hz = np.arange(1.0, number + 1)
    wide = Mask(1, 1, "complex deviation", (1.0, float(number)), (limit, limit))
    guard = guard_band(found, stated, wide, 2.0 * r)
    reach = judge(found, at_hz, wide, guard).deviation + guard
    accepted = int((reach <= limit).sum())
    worst = float(stats.norm.cdf(-2.0 * r))
    low, high = stats.binom.interval(0.999, number, worst)
    # Near a limit of 25 u or more the circle is almost straight: the worst case is nearly met.
    assert 0.8 * low <= accepted <= high


class TestGuardedRejection:
    def judged(self, size: float, guard: float | None, rejection: float) -> str:
        found, _ = pair(1.0 + size, 1.0, 0.0)
        band = None if guard is None else np.full(2, guard)
        return judge(
            found, AT_HZ, mask("complex deviation", 0.1), band, np.full(2, rejection)
        ).verdict

    def test_zones_of_guarded_rejection_and_of_a_non_binary_rule(self) -> None:
        places = (0.07, 0.09, 0.11, 0.13)
        assert [self.judged(one, None, 0.02) for one in places] == (
            ["passed", "passed", "not proven", "failed"]
        )
        assert [self.judged(one, 0.02, 0.02) for one in places] == (
            ["passed", "not proven", "not proven", "failed"]
        )

    def test_a_deviation_beyond_the_mask_without_uncertainty_is_not_assessable(self) -> None:
        assert self.judged(0.07, None, float("nan")) == "passed"
        assert self.judged(0.11, None, float("nan")) == "not assessable"

    def test_a_level_is_refused_by_what_its_interval_reaches_back(self) -> None:
        """+/- 30 % of |S|: 20 lg 1.3 = 2.27887 dB up, -20 lg 0.7 = 3.09804 dB down."""
        high, stated = pair(0.2, 0.1, 0.15)
        band = rejection_band(high, stated, mask("magnitude db", 1), 2.0)
        assert band == pytest.approx(3.09804, abs=1e-5)
        low, stated = pair(0.1, 0.2, 0.15)
        band = rejection_band(low, stated, mask("magnitude db", 1), 2.0)
        assert band == pytest.approx(2.27887, abs=1e-5)

    def test_a_lifted_probe_is_refused_however_uncertain_its_level_is(self) -> None:
        found, stated = pair(1e-4, 0.9, 3.0)
        wanted = mask("magnitude db", 0.2)
        band = rejection_band(found, stated, wanted, 2.0)
        assert judge(found, AT_HZ, wanted, None, band).verdict == "failed"
        # Too high and not told from nothing: nothing is refused.
        found, stated = pair(0.9, 0.1, 0.6)
        band = rejection_band(found, stated, wanted, 2.0)
        assert np.isinf(band).all()
        assert judge(found, AT_HZ, wanted, None, band).verdict == "not proven"


@pytest.mark.parametrize(("ratio", "percent"), [(2.0, 3.4), (5.0, 2.8), (1e4, 2.3)])
def test_false_refusal_of_what_lies_on_the_mask(ratio: float, percent: float) -> None:
    """Round errors about a deviation of `ratio` u that lies on the mask, k = 2; the length of such
    a deviation follows a Rice law (scipy), and the program refuses as often as that says."""
    number, u = 60_000, 1e-3
    rng = np.random.default_rng(round(ratio))
    limit = ratio * u
    errors = (u * (rng.normal(size=number) + 1j * rng.normal(size=number))).astype(np.complex128)
    corrected = (1.0 + limit + errors)[:, np.newaxis, np.newaxis]
    covariance = np.zeros((number, 1, 1, 3))
    covariance[..., :2] = u**2
    found = deviation(corrected, np.ones((number, 1, 1), complex))
    at_hz = np.arange(1.0, number + 1)
    wide = Mask(1, 1, "complex deviation", (1.0, float(number)), (limit, limit))
    band = rejection_band(found, Uncertainty(covariance, covariance), wide, 2.0)
    refused = float((np.abs(found.complex[:, 0, 0]) - band > limit).mean())
    expected = float(stats.rice.sf(ratio + 2.0, ratio))
    assert round(100 * expected, 1) == percent
    assert abs(refused - expected) < 4 * np.sqrt(expected / number)
    few = judge(found, at_hz, wide, None, band)
    assert few.verdict == "failed" and 0 < few.n_not_refuted < number
