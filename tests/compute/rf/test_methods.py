"""Each method against scikit-rf, against published numbers, and against wrong records."""

from dataclasses import replace

import numpy as np
import pytest
import skrf
from skrf.calibration import SOLT, OnePort

from sitegen.compute.rf.correct import correct, uncorrect
from sitegen.compute.rf.definitions import Load, Thru, transmission
from sitegen.compute.rf.eight_term import SwitchTerms
from sitegen.compute.rf.lrrm import LrrmSweeps, solve_lrrm
from sitegen.compute.rf.one_port import Reflects, solve_one_port
from sitegen.compute.rf.solution import CalibrationNotSolvable
from sitegen.compute.rf.terms import OnePortTerms, term_rows
from tests.compute.rf import forward as fw
from tests.compute.rf.solved import (
    DEFINITIONS,
    LOAD_H,
    OPEN_F,
    SHORT_H,
    lrrm,
    reflect_gammas,
    solt,
    solt_five_reflects,
    unlike_thru,
)

BAND_HZ = fw.BAND_HZ
GATE = 1e-10


def network(s: fw.Array) -> skrf.Network:
    return skrf.Network(frequency=skrf.Frequency.from_f(BAND_HZ, unit="hz"), s=s, z0=50)


class TestOnePort:
    @pytest.mark.parametrize("extra", [False, True], ids=["three standards", "five standards"])
    def test_same_terms_as_scikit_rf(self, extra: bool) -> None:
        rng = np.random.default_rng(3)
        ideal = reflect_gammas(BAND_HZ, extra)
        noise = 1e-3 * (rng.normal(size=ideal.shape) + 1j * rng.normal(size=ideal.shape))
        raw = fw.raw_reflection(fw.station(1).box_1, ideal) + noise
        terms = solve_one_port(BAND_HZ, 50.0, Reflects(raw, ideal)).terms
        theirs = OnePort([network(m) for m in raw], [network(g) for g in ideal]).coefs
        for row in term_rows(terms):
            assert np.abs(row.values - theirs[row.name]).max() <= GATE

    def test_truth_is_recovered_and_redundancy_told(self) -> None:
        box = fw.station(2).box_1
        for extra, redundancy in ((False, 0), (True, 2)):
            ideal = reflect_gammas(BAND_HZ, extra)
            solution = solve_one_port(BAND_HZ, 50.0, Reflects(fw.raw_reflection(box, ideal), ideal))
            terms = solution.terms
            assert isinstance(terms, OnePortTerms)
            assert np.abs(terms.directivity - box[:, 0, 0]).max() <= GATE
            assert np.abs(terms.source_match - box[:, 1, 1]).max() <= GATE
            tracking = box[:, 0, 1] * box[:, 1, 0]
            assert np.abs(terms.reflection_tracking - tracking).max() <= GATE
            assert solution.redundancy == redundancy
            assert len(solution.residuals) == (1 if redundancy else 0)

    def test_a_wrong_standard_shows_in_the_residuals_of_a_redundant_set(self) -> None:
        ideal = reflect_gammas(BAND_HZ, extra=True)
        raw = fw.raw_reflection(fw.station(2).box_1, ideal)
        declared = ideal.copy()
        declared[3] *= 0.98
        (residual,) = solve_one_port(BAND_HZ, 50.0, Reflects(raw, declared)).residuals
        right = solve_one_port(BAND_HZ, 50.0, Reflects(raw, ideal)).residuals[0]
        assert np.abs(right.values).max() <= GATE
        assert np.abs(residual.values[3]).min() > 1e-3

    def test_weight_zero_leaves_a_standard_out(self) -> None:
        ideal = reflect_gammas(BAND_HZ, extra=True)[:4]
        box = fw.station(2).box_1
        raw = fw.raw_reflection(box, ideal)
        raw[3] += 0.1
        weights = np.array([1.0, 1.0, 1.0, 0.0])
        terms = solve_one_port(BAND_HZ, 50.0, Reflects(raw, ideal, weights)).terms
        assert isinstance(terms, OnePortTerms)
        assert np.abs(terms.directivity - box[:, 0, 0]).max() <= GATE

    def test_weight_two_is_the_same_standard_twice(self) -> None:
        rng = np.random.default_rng(4)
        ideal = reflect_gammas(BAND_HZ, extra=True)
        raw = fw.raw_reflection(fw.station(2).box_1, ideal) + 0.01 * rng.normal(size=ideal.shape)
        weights = np.array([1.0, 1.0, 1.0, 1.0, 2.0])
        twice = Reflects(np.vstack([raw, raw[4:]]), np.vstack([ideal, ideal[4:]]))
        weighted = solve_one_port(BAND_HZ, 50.0, Reflects(raw, ideal, weights)).terms
        repeated = solve_one_port(BAND_HZ, 50.0, twice).terms
        for one, other in zip(term_rows(weighted), term_rows(repeated), strict=True):
            assert np.abs(one.values - other.values).max() <= GATE

    def test_standards_that_meet_at_a_frequency_are_not_determined_there(self) -> None:
        ideal = reflect_gammas(BAND_HZ)
        ideal[1, 40] = ideal[0, 40] + 1e-4
        raw = fw.raw_reflection(fw.station(2).box_1, ideal)
        solution = solve_one_port(BAND_HZ, 50.0, Reflects(raw, ideal))
        assert np.flatnonzero(~solution.determined).tolist() == [40]
        for row in term_rows(solution.terms):
            assert np.isnan(row.values[40])

    def test_two_standards_are_refused(self) -> None:
        ideal = reflect_gammas(BAND_HZ)[:2]
        with pytest.raises(CalibrationNotSolvable, match="at least 3"):
            solve_one_port(BAND_HZ, 50.0, Reflects(ideal, ideal))

    def test_calibration_comparison_of_a_wrong_load(self) -> None:
        """Load of 50 ohm declared 50.5 ohm, both with 4.5 pH, short 3 pH, open -6 fF.

        Largest |dG| over passive one-ports, found on the unit circle, as in Williams, Marks
        and Davidson, "Comparison of on-wafer calibrations", ARFTG 38, 1991 (quoted from
        memory); the numbers come from an independent program, printed to three digits.
        """
        ideal = reflect_gammas(BAND_HZ)
        declared = ideal.copy()
        declared[2] = fw.load_gamma(BAND_HZ, 50.5, LOAD_H)
        raw = fw.raw_reflection(fw.station(3).box_1, ideal)
        true_terms = solve_one_port(BAND_HZ, 50.0, Reflects(raw, ideal)).terms
        wrong_terms = solve_one_port(BAND_HZ, 50.0, Reflects(raw, declared)).terms
        angles = np.linspace(0, 2 * np.pi, 721)[:, np.newaxis]
        circle = np.exp(1j * angles) * np.ones(len(BAND_HZ))
        shift = np.abs(correct(wrong_terms, uncorrect(true_terms, circle)) - circle).max(axis=0)
        centre = np.abs(correct(wrong_terms, uncorrect(true_terms, 0 * circle[0])))
        lowest_middle_highest = [0, 50, 100]
        assert shift[lowest_middle_highest].round(5).tolist() == [0.00995, 0.01123, 0.01255]
        assert centre[lowest_middle_highest].round(5).tolist() == [0.00498, 0.00499, 0.00504]


class TestSolt:
    def test_same_correction_as_scikit_rf(self) -> None:
        at = fw.station(4, leak=1e-3)
        ideal = reflect_gammas(BAND_HZ)
        thru = unlike_thru(BAND_HZ)
        pairs = [fw.pair(gamma, gamma) for gamma in ideal]
        theirs = SOLT(
            [network(fw.raw_sweep(at, pair)) for pair in pairs] + [network(fw.raw_sweep(at, thru))],
            [network(pair) for pair in pairs] + [network(thru)],
            n_thrus=1,
            isolation=network(at.leak),
        )
        raw = fw.raw_sweep(at, fw.active_devices(4, 1, len(BAND_HZ))[0])
        ours = correct(solt(at, BAND_HZ).terms, raw)
        assert np.abs(ours - theirs.apply_cal(network(raw)).s).max() <= GATE

    def test_redundancy_of_both_ports(self) -> None:
        at = fw.station(4)
        assert solt(at, BAND_HZ).redundancy == 0
        assert solt(at, BAND_HZ).residuals == ()
        five = solt_five_reflects(at, BAND_HZ)
        assert five.redundancy == 4
        assert [residual.port for residual in five.residuals] == [1, 2]
        assert five.residuals[0].values.shape == (5, len(BAND_HZ))

    def test_a_thru_that_lets_nothing_through_is_not_determined(self) -> None:
        at = fw.station(4)
        at.box_1[3, 1, 0] = 0.0
        assert np.flatnonzero(~solt(at, BAND_HZ).determined).tolist() == [3]


class TestLrrm:
    @pytest.mark.parametrize("port", [1, 2])
    def test_load_inductance_and_reflects_are_found(self, port: int) -> None:
        solution = lrrm(fw.station(6), BAND_HZ, match_port=1 if port == 1 else 2, short_loss=0.97)
        assert solution.fitted_load_inductance_h == pytest.approx(LOAD_H, rel=1e-9)
        assert solution.fitted_load_inductance_port == port
        assert solution.redundancy == len(BAND_HZ) - 1
        reflects = solution.solved_reflects
        assert reflects is not None
        assert np.abs(reflects.short - 0.97 * fw.short_gamma(BAND_HZ, SHORT_H)).max() <= GATE
        assert np.abs(reflects.open - fw.open_gamma(BAND_HZ, OPEN_F)).max() <= GATE

    def test_a_lossy_thru_of_another_impedance_is_fully_taken_into_account(self) -> None:
        thru = Thru(fw.THRU_DELAY_S, 55.0, 20e9)
        at = fw.station(6)
        devices = fw.active_devices(1, 20, len(BAND_HZ))
        solution = lrrm(
            at,
            BAND_HZ,
            definitions=replace(DEFINITIONS, thru=thru),
            thru=transmission(thru, BAND_HZ, 50.0),
        )
        assert np.abs(correct(solution.terms, fw.raw_sweep(at, devices)) - devices).max() <= GATE

    @pytest.mark.parametrize("top_hz", [100e6, 1e9, 6e9, 20e9])
    def test_load_inductance_is_found_on_low_bands_whatever_was_declared(
        self, top_hz: float
    ) -> None:
        frequency_hz = np.linspace(10e6, top_hz, 21)
        for declared_h in (0.0, LOAD_H, -20e-12):
            definitions = replace(DEFINITIONS, match=Load(50.0, declared_h))
            solution = lrrm(fw.station(6, frequency_hz), frequency_hz, definitions=definitions)
            assert solution.fitted_load_inductance_h == pytest.approx(LOAD_H, rel=1e-6)

    def test_noise_moves_the_fitted_inductance_little(self) -> None:
        """1e-4 in each component: 4.501 pH in an independent run, within 0.03 pH here."""
        at = fw.station(6)
        rng = np.random.default_rng(1)
        gammas = reflect_gammas(BAND_HZ)
        devices = [fw.ideal_line(BAND_HZ, fw.THRU_DELAY_S)] + [fw.pair(g, g) for g in gammas]
        noisy = [
            fw.raw_sweep(at, s) + 1e-4 * (rng.normal(size=s.shape) + 1j * rng.normal(size=s.shape))
            for s in devices
        ]
        solution = solve_lrrm(
            BAND_HZ,
            50.0,
            LrrmSweeps(*noisy),
            DEFINITIONS,
            switch_terms=SwitchTerms(at.switch_forward, at.switch_reverse),
        )
        assert solution.fitted_load_inductance_h == pytest.approx(LOAD_H, abs=0.03e-12)
