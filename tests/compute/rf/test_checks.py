"""Checks of sweeps that need no reference."""

from pathlib import Path

import numpy as np
import pytest
import skrf

from sitegen.compute.rf.checks import (
    largest_singular_value,
    likeness,
    open_against_short,
    repeatability,
)
from sitegen.compute.rf.definitions import Open, Short, reflection
from tests.compute.rf import forward as fw

BAND_HZ = fw.BAND_HZ


class TestRepeatability:
    def test_pooled_deviation_of_a_measured_radiating_open(self) -> None:
        """Three measured repeats, 500 to 750 GHz, in scikit-rf's wheel: .00170017.

        The number comes from an independent program.
        """
        folder = Path(skrf.__file__).parent / "data"
        sweeps = [skrf.Network(str(folder / f"ro,{i}.s1p")) for i in (1, 2, 3)]
        repeats = np.stack([sweep.s[:, 0, 0] for sweep in sweeps])
        found = repeatability(repeats, sweeps[0].f)
        assert found.pooled == pytest.approx(0.00170017, abs=5e-9)
        assert found.n_repeat == 3

    def test_largest_difference_and_where(self) -> None:
        repeats = np.zeros((3, 4), complex)
        repeats[1, 2], repeats[2, 2] = 0.3, 0.4j
        found = repeatability(repeats, np.array([1.0, 2.0, 3.0, 4.0]))
        assert found.largest_difference == pytest.approx(0.5)
        assert found.largest_at_hz == 3.0

    def test_a_nan_is_left_out_and_shows(self) -> None:
        repeats = np.array([[1, np.nan, 1], [2, 1, 1]], complex)
        found = repeatability(repeats, np.array([1.0, 2.0, 3.0]))
        assert np.isnan(found.standard_deviation).tolist() == [False, True, False]
        assert found.pooled == pytest.approx(0.5)  # variances 1/2 and 0, their mean's root

    def test_one_sweep_has_none(self) -> None:
        with pytest.raises(ValueError, match="two sweeps"):
            repeatability(np.ones((1, 3), complex), np.arange(3.0))


class TestOpenAgainstShort:
    open_ = reflection(Open(-6e-15), BAND_HZ, 50.0)
    short = reflection(Short(3e-12), BAND_HZ, 50.0)

    def test_a_perfect_receiver_gives_minus_one(self) -> None:
        found = open_against_short(self.open_, self.short, self.open_, self.short, BAND_HZ)
        assert found.largest_distance < 1e-12
        assert found.exchanged is False

    @pytest.mark.parametrize("first_point", [0, 10], ids=["from 10 MHz", "from 11 GHz"])
    def test_exchanged_sweeps_are_found_through_a_simulated_path(self, first_point: int) -> None:
        band = slice(first_point, None)
        box = fw.station(3).box_1.copy()
        box[:, 0, 0] *= 0.2
        box[:, 1, 1] *= 0.2
        raw_open, raw_short = (
            fw.raw_reflection(box, gamma)[band] for gamma in (self.open_, self.short)
        )
        definitions = self.open_[band], self.short[band]
        right = open_against_short(raw_open, raw_short, *definitions, BAND_HZ[band])
        wrong = open_against_short(raw_short, raw_open, *definitions, BAND_HZ[band])
        assert right.exchanged is False
        assert wrong.exchanged is True
        assert right.largest_distance < 0.3

    def test_two_opens_are_far_from_minus_one_and_exchange_is_not_claimed(self) -> None:
        band = BAND_HZ[BAND_HZ > 1e9]
        sweep = np.ones(len(band), complex)
        found = open_against_short(sweep, sweep, sweep, -sweep, band)
        assert found.largest_distance == pytest.approx(2.0)
        assert found.exchanged is None


class TestPassivity:
    def test_columns_below_one_can_still_be_active(self) -> None:
        """S with all elements .6: each column carries .72, the largest singular value is 1.2."""
        assert largest_singular_value(np.full((2, 2), 0.6 + 0j)) == pytest.approx(1.2, abs=1e-15)

    def test_same_as_a_general_decomposition(self) -> None:
        s = np.concatenate([fw.passive_devices(1, 20, 5), fw.active_devices(1, 20, 5)])
        expected = np.linalg.norm(s, ord=2, axis=(-2, -1))
        assert np.abs(largest_singular_value(s) - expected).max() < 1e-13

    def test_a_lossless_line_has_one_to_rounding(self) -> None:
        line = fw.line_s(BAND_HZ, 2j * np.pi * BAND_HZ * 1e-12, 70.0)
        assert np.abs(largest_singular_value(line) - 1.0).max() < 1e-14

    def test_nan_stays(self) -> None:
        assert np.isnan(largest_singular_value(np.full((2, 2), complex(np.nan))))


class TestLikeness:
    def test_bare_probes_bridged_pads_and_devices(self) -> None:
        omega = 2 * np.pi * BAND_HZ
        lifted = fw.open_gamma(BAND_HZ, -6e-15)
        bridged = fw.short_gamma(BAND_HZ, 12e-12)
        inductor = 1 / (2 + 1j * omega * 0.5e-9)
        series = np.moveaxis(np.array([[inductor, -inductor], [-inductor, inductor]]), -1, 0)
        unit = np.eye(2)
        sweeps = np.stack(
            [
                fw.pair(lifted, lifted),
                fw.pair(bridged, bridged),
                fw.pair(lifted, fw.load_gamma(BAND_HZ, 30.0, 0.0)),
                np.linalg.inv(unit + 50 * series) @ (unit - 50 * series),
                fw.ideal_line(BAND_HZ, 1e-12),
            ]
        )
        found = likeness(sweeps, BAND_HZ, 50.0, n_ports=2)
        assert found.open.tolist() == [[True, True], [False] * 2, [True, False]] + [[False] * 2] * 2
        assert found.short.tolist() == [[False] * 2, [True, True]] + [[False] * 2] * 3

    def test_noise_at_low_frequency_hides_nothing(self) -> None:
        rng = np.random.default_rng(1)
        noise = 5e-3 * (rng.normal(size=101) + 1j * rng.normal(size=101))
        found = likeness(fw.open_gamma(BAND_HZ, -6e-15) + noise, BAND_HZ, 50.0, n_ports=1)
        assert bool(found.open)
        assert not bool(found.short)

    def test_what_was_not_measured_looks_like_nothing(self) -> None:
        found = likeness(np.full((101, 2, 2), complex(np.nan)), BAND_HZ, 50.0, n_ports=2)
        assert not found.open.any()
        assert not found.short.any()
