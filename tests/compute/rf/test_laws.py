"""Laws that hold for every two-port calibration method."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from sitegen.compute.rf.correct import correct, uncorrect
from sitegen.compute.rf.solution import CalibrationSolution
from sitegen.compute.rf.terms import DrivenTerms, TwoPortTerms, term_rows
from tests.compute.rf import forward as fw
from tests.compute.rf.solved import TWO_PORT, WIDEST_CONDITION, Solve, turned

GATE = 1e-10
N_FREQ = len(fw.BAND_HZ)
DEVICES = np.concatenate([fw.passive_devices(11, 40, N_FREQ), fw.active_devices(12, 20, N_FREQ)])


def should_be_known(solution: CalibrationSolution) -> NDArray[np.bool_]:
    """What the condition number says, and for TRL also the lines' phase difference."""
    known: NDArray[np.bool_] = solution.condition <= WIDEST_CONDITION
    if solution.method == "TRL":
        assert solution.solved_line is not None
        phase_deg = solution.solved_line.phase_difference_deg
        known &= (phase_deg >= 20.0) & (phase_deg <= 160.0)
    return known


@pytest.mark.parametrize("solve", TWO_PORT.values(), ids=TWO_PORT.keys())
class TestEveryMethod:
    @pytest.mark.parametrize("leak", [0.0, 1e-3])
    def test_noiseless_truth_is_recovered(self, solve: Solve, leak: float) -> None:
        for seed in range(4):
            at = fw.station(seed, leak=leak)
            solution = solve(at, fw.BAND_HZ)
            corrected = correct(solution.terms, fw.raw_sweep(at, DEVICES))
            known = solution.determined
            assert known.tolist() == should_be_known(solution).tolist()
            assert known.mean() >= 0.98
            assert np.abs(corrected - DEVICES)[:, known].max() <= GATE
            assert np.isnan(corrected[:, ~known]).all()

    @pytest.mark.parametrize("n_freq", [2, 31, 2001])
    def test_noiseless_truth_is_recovered_to_220_ghz(self, solve: Solve, n_freq: int) -> None:
        frequency_hz = np.linspace(10e6, 220e9, n_freq)
        at = fw.station(13, frequency_hz)
        solution = solve(at, frequency_hz)
        known = solution.determined
        devices = fw.passive_devices(13, 3, n_freq)
        corrected = correct(solution.terms, fw.raw_sweep(at, devices))
        assert known.tolist() == should_be_known(solution).tolist()
        assert known.mean() >= (0.98 if n_freq > 100 else 0.5)
        assert np.abs(corrected - devices)[:, known].max() <= GATE

    def test_corrected_of_measured_is_the_device(self, solve: Solve) -> None:
        terms = solve(fw.station(5, leak=1e-3), fw.BAND_HZ).terms
        assert np.nanmax(np.abs(correct(terms, uncorrect(terms, DEVICES)) - DEVICES)) <= GATE

    def test_measured_of_true_is_what_the_station_shows(self, solve: Solve) -> None:
        at = fw.station(6, leak=1e-3)
        shown = fw.raw_sweep(at, DEVICES)
        raw = uncorrect(solve(at, fw.BAND_HZ).terms, DEVICES)
        assert np.nanmax(np.abs(raw - shown)) <= GATE

    def test_exchanging_the_ports_exchanges_the_result(self, solve: Solve) -> None:
        at = fw.station(7, leak=1e-3)
        terms = solve(at, fw.BAND_HZ).terms
        assert isinstance(terms, TwoPortTerms)
        exchanged = TwoPortTerms(fw.BAND_HZ, fw.Z_REF_OHM, terms.reverse, terms.forward)
        raw = fw.raw_sweep(at, DEVICES)
        assert np.allclose(
            correct(exchanged, turned(raw)),
            turned(correct(terms, raw)),
            rtol=0,
            atol=1e-12,
            equal_nan=True,
        )

    def test_how_path_loss_splits_between_in_and_out_does_not_matter(self, solve: Solve) -> None:
        """Scaling s21 of a box by c and s12 by 1/c, in both boxes alike, shows nowhere."""
        at = fw.station(8)
        factor = 0.5 + 0.4j
        split = fw.Station(
            at.box_1 * np.array([[1, 1 / factor], [factor, 1]]),
            at.box_2 * np.array([[1, factor], [1 / factor, 1]]),
            at.switch_forward,
            at.switch_reverse,
            at.leak,
        )
        one, other = (term_rows(solve(each, fw.BAND_HZ).terms) for each in (at, split))
        for first, second in zip(one, other, strict=True):
            same = np.allclose(first.values, second.values, rtol=0, atol=GATE, equal_nan=True)
            assert same, first.name

    def test_a_single_frequency_is_enough(self, solve: Solve) -> None:
        frequency_hz = np.array([10e9])
        at = fw.station(9, frequency_hz)
        device = fw.active_devices(1, 3, 1)
        corrected = correct(solve(at, frequency_hz).terms, fw.raw_sweep(at, device))
        assert np.abs(corrected - device).max() <= GATE

    def test_a_nan_in_a_standard_takes_only_its_frequency(self, solve: Solve) -> None:
        whole = solve(fw.station(10), fw.BAND_HZ).determined
        at = fw.station(10)
        at.box_1[17] = np.nan
        solution = solve(at, fw.BAND_HZ)
        kept = whole & (np.arange(N_FREQ) != 17)
        assert solution.determined.tolist() == kept.tolist()
        for row in term_rows(solution.terms):
            assert np.isfinite(row.values).tolist() == kept.tolist(), row.name
        told = f"not determined at {np.sum(~kept)} of 101"
        assert any(told in note for note in solution.notes)
        corrected = correct(solution.terms, fw.raw_sweep(fw.station(10), DEVICES))
        assert np.isnan(corrected[:, 17]).all()
        assert np.abs(corrected[:, kept] - DEVICES[:, kept]).max() <= GATE


def test_a_singular_point_is_nan_without_a_warning(recwarn: pytest.WarningsRecorder) -> None:
    def constant(value: complex) -> fw.Array:
        return np.array([value, 0.1])

    def driven(tracking: complex) -> DrivenTerms:
        blind = np.array([tracking, 1.0])
        small = constant(0.1)
        return DrivenTerms(small, small, small, small, blind, constant(0.0))

    terms = TwoPortTerms(np.array([1e9, 2e9]), 50.0, driven(0.0), driven(1.0))
    raw = np.full((3, 2, 2, 2), 0.2 + 0j)
    corrected = correct(terms, raw)
    assert np.isnan(corrected[:, 0]).all()
    assert np.isfinite(corrected[:, 1]).all()
    assert not recwarn.list


def test_a_nan_in_one_receiver_takes_the_whole_frequency_of_that_sweep_only() -> None:
    at = fw.station(1)
    terms = TWO_PORT["SOLT"](at, fw.BAND_HZ).terms
    raw = fw.raw_sweep(at, DEVICES)
    raw[2, 5, 1, 0] = np.nan
    missing = np.isnan(correct(terms, raw))
    assert missing[2, 5].all()
    assert missing.sum() == 4


def test_one_term_not_determined_takes_all_of_its_frequency() -> None:
    terms = TWO_PORT["SOLT"](fw.station(1), fw.BAND_HZ).terms
    assert isinstance(terms, TwoPortTerms)
    isolation = terms.reverse.isolation.copy()
    isolation[7] = np.nan
    lacking = replace(terms, reverse=replace(terms.reverse, isolation=isolation))
    for result in (correct(lacking, DEVICES), uncorrect(lacking, DEVICES)):
        assert np.isnan(result[:, 7]).all()
        assert np.isfinite(result[:, 8]).all()


def test_a_sweep_on_other_frequencies_is_refused() -> None:
    terms = TWO_PORT["SOLT"](fw.station(1), fw.BAND_HZ).terms
    with pytest.raises(ValueError, match="does not end in"):
        correct(terms, DEVICES[:, :50])
