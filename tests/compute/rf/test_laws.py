"""Laws that hold for every two-port calibration method."""

from dataclasses import replace

import numpy as np
import pytest

from sitegen.compute.rf.correct import correct, uncorrect
from sitegen.compute.rf.terms import DrivenTerms, TwoPortTerms, term_rows
from tests.compute.rf import forward as fw
from tests.compute.rf.solved import TWO_PORT, Solve, turned

GATE = 1e-10
N_FREQ = len(fw.BAND_HZ)
DEVICES = np.concatenate([fw.passive_devices(11, 40, N_FREQ), fw.active_devices(12, 20, N_FREQ)])


@pytest.mark.parametrize("solve", TWO_PORT.values(), ids=TWO_PORT.keys())
class TestEveryMethod:
    @pytest.mark.parametrize("leak", [0.0, 1e-3])
    def test_noiseless_truth_is_recovered(self, solve: Solve, leak: float) -> None:
        for seed in range(4):
            at = fw.station(seed, leak=leak)
            solution = solve(at, fw.BAND_HZ)
            corrected = correct(solution.terms, fw.raw_sweep(at, DEVICES))
            assert solution.determined.all()
            assert np.abs(corrected - DEVICES).max() <= GATE

    def test_corrected_of_measured_is_the_device(self, solve: Solve) -> None:
        terms = solve(fw.station(5, leak=1e-3), fw.BAND_HZ).terms
        assert np.abs(correct(terms, uncorrect(terms, DEVICES)) - DEVICES).max() <= GATE

    def test_measured_of_true_is_what_the_station_shows(self, solve: Solve) -> None:
        at = fw.station(6, leak=1e-3)
        shown = fw.raw_sweep(at, DEVICES)
        assert np.abs(uncorrect(solve(at, fw.BAND_HZ).terms, DEVICES) - shown).max() <= GATE

    def test_exchanging_the_ports_exchanges_the_result(self, solve: Solve) -> None:
        at = fw.station(7, leak=1e-3)
        terms = solve(at, fw.BAND_HZ).terms
        assert isinstance(terms, TwoPortTerms)
        exchanged = TwoPortTerms(fw.BAND_HZ, fw.Z_REF_OHM, terms.reverse, terms.forward)
        raw = fw.raw_sweep(at, DEVICES)
        assert np.allclose(
            correct(exchanged, turned(raw)), turned(correct(terms, raw)), rtol=0, atol=1e-12
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
            assert np.allclose(first.values, second.values, rtol=0, atol=GATE), first.name

    def test_a_single_frequency_is_enough(self, solve: Solve) -> None:
        frequency_hz = np.array([10e9])
        at = fw.station(9, frequency_hz)
        device = fw.active_devices(1, 3, 1)
        corrected = correct(solve(at, frequency_hz).terms, fw.raw_sweep(at, device))
        assert np.abs(corrected - device).max() <= GATE

    def test_a_nan_in_a_standard_takes_only_its_frequency(self, solve: Solve) -> None:
        at = fw.station(10)
        at.box_1[17] = np.nan
        solution = solve(at, fw.BAND_HZ)
        assert np.flatnonzero(~solution.determined).tolist() == [17]
        for row in term_rows(solution.terms):
            assert np.flatnonzero(np.isnan(row.values)).tolist() == [17], row.name
        assert any("not determined at 1 of 101" in note for note in solution.notes)
        corrected = correct(solution.terms, fw.raw_sweep(fw.station(10), DEVICES))
        kept = np.arange(N_FREQ) != 17
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
