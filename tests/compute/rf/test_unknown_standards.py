"""SOLR, LRM, TRL and multiline TRL: against scikit-rf, and what they find of their standards."""

from collections.abc import Callable

import numpy as np
import pytest
import skrf
from skrf.calibration import LRM, TRL, NISTMultilineTRL, TUGMultilineTRL, UnknownThru

from sitegen.compute.rf.correct import correct
from sitegen.compute.rf.definitions import Load, Offset, Open, Short, Thru
from sitegen.compute.rf.eight_term import SWITCH_TERMS_NOTE
from sitegen.compute.rf.lrm import LrmDefinitions, LrmSweeps, solve_lrm
from sitegen.compute.rf.multiline_trl import solve_multiline_trl
from sitegen.compute.rf.one_port import Reflects
from sitegen.compute.rf.solr import solve_solr
from sitegen.compute.rf.solution import CalibrationNotSolvable, CalibrationSolution
from sitegen.compute.rf.trl import TrlDefinitions, TrlSweeps, solve_trl
from tests.compute.rf import forward as fw
from tests.compute.rf.solved import (
    LENGTHS_M,
    LINE_PERMITTIVITY,
    LOAD_H,
    SHORT_H,
    line_propagation,
    lrm,
    multiline_trl,
    reflect_gammas,
    solr,
    switch,
    trl,
    trl_sweeps,
    turned,
    unlike_thru,
)

BAND_HZ = fw.BAND_HZ
GATE = 1e-10


def network(s: fw.Array, frequency_hz: fw.Floats = BAND_HZ) -> skrf.Network:
    return skrf.Network(frequency=skrf.Frequency.from_f(frequency_hz, unit="hz"), s=s, z0=50)


def networks(at: fw.Station) -> tuple[skrf.Network, skrf.Network]:
    return network(at.switch_forward), network(at.switch_reverse)


def noisy(at: fw.Station, devices: list[fw.Array], noise: float = 1e-3) -> list[fw.Array]:
    """Noise leaves no symmetry of the ideal sweeps behind which two solutions could agree."""
    rng = np.random.default_rng(8)
    return [
        fw.raw_sweep(at, s) + noise * (rng.normal(size=s.shape) + 1j * rng.normal(size=s.shape))
        for s in devices
    ]


def apart(
    at: fw.Station, ours: CalibrationSolution, theirs: skrf.calibration.Calibration
) -> fw.Floats:
    """Greatest difference of a corrected amplifier at each determined frequency."""
    raw = fw.raw_sweep(at, fw.active_devices(4, 1, len(BAND_HZ))[0])
    difference = np.abs(correct(ours.terms, raw) - theirs.apply_cal(network(raw)).s)
    found: fw.Floats = difference.max(axis=(1, 2))[ours.determined]
    return found


class TestSolr:
    def test_same_correction_as_scikit_rf(self) -> None:
        at = fw.station(41)
        ideal = reflect_gammas(BAND_HZ)
        pairs = [fw.pair(gamma, gamma) for gamma in ideal]
        raw = noisy(at, [*pairs, unlike_thru(BAND_HZ)])
        without = network(fw.ideal_line(BAND_HZ, 2.1e-12))
        theirs = UnknownThru(
            [network(s) for s in raw],
            [*(network(pair) for pair in pairs), without],
            switch_terms=networks(at),
        )
        flat = [theirs.measured_unterminated[n].s for n in range(3)]
        ours = solve_solr(
            BAND_HZ,
            50.0,
            Reflects(np.array([s[:, 0, 0] for s in flat]), ideal),
            Reflects(np.array([s[:, 1, 1] for s in flat]), ideal),
            raw[3],
            2.1e-12,
            switch_terms=switch(at),
        )
        assert apart(at, ours, theirs).max() <= 1e-9

    def test_the_thru_is_found(self) -> None:
        found = solr(fw.station(42, leak=1e-3), BAND_HZ).solved_thru
        assert found is not None
        assert np.abs(found - unlike_thru(BAND_HZ)).max() <= GATE

    @pytest.mark.parametrize(("error_deg", "known"), [(55, True), (70, False), (110, False)])
    def test_the_sign_needs_the_delay_within_a_quarter_turn(
        self, error_deg: float, known: bool
    ) -> None:
        frequency_hz = np.array([40e9])
        at = fw.station(43, frequency_hz)
        ideal = reflect_gammas(frequency_hz)
        thru = fw.ideal_line(frequency_hz, 5e-12)
        wrong_s = 5e-12 + error_deg / 360.0 / 40e9
        solution = solve_solr(
            frequency_hz,
            50.0,
            Reflects(fw.raw_reflection(at.box_1, ideal), ideal),
            Reflects(fw.raw_reflection(turned(at.box_2), ideal), ideal),
            fw.raw_sweep(at, thru),
            wrong_s,
            switch_terms=switch(at),
        )
        assert solution.determined.tolist() == [known]
        assert known or any("sign is not determined" in note for note in solution.notes)
        if known:
            shown = correct(solution.terms, fw.raw_sweep(at, thru))
            assert np.abs(shown - thru).max() <= GATE

    def test_missing_switch_terms_are_noted(self) -> None:
        at = fw.station(43)
        ideal = reflect_gammas(BAND_HZ)
        reflects = Reflects(fw.raw_reflection(at.box_1, ideal), ideal)
        thru = fw.raw_sweep(at, unlike_thru(BAND_HZ))
        assert SWITCH_TERMS_NOTE in solve_solr(BAND_HZ, 50, reflects, reflects, thru, 2e-12).notes


class TestLrm:
    def test_same_correction_as_scikit_rf(self) -> None:
        at = fw.station(44)
        short = fw.short_gamma(BAND_HZ, SHORT_H)
        load = fw.load_gamma(BAND_HZ, 50.0, LOAD_H)
        devices = [
            fw.ideal_line(BAND_HZ, fw.THRU_DELAY_S),
            fw.pair(short, short),
            fw.pair(load, load),
        ]
        raw = noisy(at, devices)
        theirs = LRM(
            [network(s) for s in raw],
            [network(s) for s in devices],
            switch_terms=networks(at),
        )
        ours = solve_lrm(
            BAND_HZ,
            50.0,
            LrmSweeps(*raw),
            LrmDefinitions(Thru(fw.THRU_DELAY_S), Short(), Load(50, LOAD_H), Load(50, LOAD_H)),
            switch_terms=switch(at),
        )
        assert apart(at, ours, theirs).max() <= 1e-9

    def test_the_reflect_is_found(self) -> None:
        found = lrm(fw.station(44), BAND_HZ).solved_reflect
        assert found is not None
        assert np.abs(found - 0.9 * fw.short_gamma(BAND_HZ, SHORT_H)).max() <= GATE

    def test_a_reflect_that_reflects_nothing_tells_nothing(self) -> None:
        at = fw.station(44)
        none = np.full(len(BAND_HZ), 1e-9 + 0j)
        devices = [fw.ideal_line(BAND_HZ, 0.0), fw.pair(none, none), fw.pair(0 * none, 0 * none)]
        solution = solve_lrm(
            BAND_HZ,
            50.0,
            LrmSweeps(*(fw.raw_sweep(at, device) for device in devices)),
            LrmDefinitions(Thru(), Short(), Load(), Load()),
            switch_terms=switch(at),
        )
        assert not solution.determined.any()


class TestTrl:
    def test_same_correction_as_scikit_rf(self) -> None:
        at = fw.station(45)
        sweeps = trl_sweeps(at, BAND_HZ, 2)
        ours = solve_trl(
            BAND_HZ,
            sweeps,
            TrlDefinitions((0.0, LENGTHS_M[1] - LENGTHS_M[0]), LINE_PERMITTIVITY, Short()),
            switch_terms=switch(at),
        )
        flush = fw.ideal_line(BAND_HZ, 0.0)
        one = np.ones(len(BAND_HZ), complex)
        line = fw.ideal_line(
            BAND_HZ, 250e-6 * np.sqrt(LINE_PERMITTIVITY) / fw.SPEED_OF_LIGHT_M_PER_S
        )
        theirs = TRL(
            [network(sweeps.lines[0]), network(sweeps.reflect), network(sweeps.lines[1])],
            [network(flush), network(fw.pair(-one, -one)), network(line)],
            switch_terms=networks(at),
        )
        assert apart(at, ours, theirs).max() <= 1e-9
        assert 0.5 < ours.determined.mean() < 0.8

    def test_the_line_is_found(self) -> None:
        for solve in (trl, multiline_trl):
            solution = solve(fw.station(46, leak=1e-3), BAND_HZ)
            line = solution.solved_line
            assert line is not None
            known = solution.determined
            expected = line_propagation(BAND_HZ)
            assert np.abs(line.propagation_per_m - expected)[known].max() <= 1e-8
            decibels = 20 * np.log10(np.e) * 11.5 * np.sqrt(BAND_HZ / 110e9)
            assert np.allclose(line.attenuation_db_per_m[known], decibels[known], atol=1e-7)
            lossless = line.propagation_per_m.imag * fw.SPEED_OF_LIGHT_M_PER_S
            root = (lossless / (2 * np.pi * BAND_HZ))[known]
            assert np.allclose(root**2, LINE_PERMITTIVITY, rtol=1e-9)
            assert (line.effective_permittivity.imag[known] < 0).all()

    def test_a_reflect_with_the_wrong_sign_turns_the_reflections(self) -> None:
        at = fw.station(46)
        devices = fw.passive_devices(3, 5, len(BAND_HZ))
        for solve in (solve_trl, solve_multiline_trl):
            solution = solve(
                BAND_HZ,
                trl_sweeps(at, BAND_HZ, 6),
                TrlDefinitions(LENGTHS_M, LINE_PERMITTIVITY, Open()),
                switch_terms=switch(at),
            )
            found = correct(solution.terms, fw.raw_sweep(at, devices))[:, solution.determined]
            true = devices[:, solution.determined]
            assert np.abs(found - true * np.array([[-1, 1], [1, -1]])).max() <= GATE

    @pytest.mark.parametrize("solve", [solve_trl, solve_multiline_trl])
    def test_a_reflect_behind_an_offset_keeps_its_sign(
        self, solve: Callable[..., CalibrationSolution]
    ) -> None:
        """2 ps turn it by 158 degrees at 110 GHz, so its sign at low frequency does not do."""
        at = fw.station(46)
        short = fw.short_gamma(BAND_HZ, SHORT_H) * np.exp(-4j * np.pi * BAND_HZ * 2e-12)
        sweeps = TrlSweeps(
            trl_sweeps(at, BAND_HZ, 6).lines, fw.raw_sweep(at, fw.pair(short, short))
        )
        definitions = TrlDefinitions(LENGTHS_M, LINE_PERMITTIVITY, Short(0.0, Offset(2e-12)))
        solution = solve(BAND_HZ, sweeps, definitions, switch_terms=switch(at))
        devices = fw.active_devices(3, 5, len(BAND_HZ))
        found = correct(solution.terms, fw.raw_sweep(at, devices))
        assert np.abs(found - devices)[:, solution.determined].max() <= GATE

    def test_the_phase_bounds_decide_where_one_line_is_used(self) -> None:
        """250 um of line: 20 degrees at 29.2 GHz, 90 degrees at 131.5 GHz, 160 at 233.8 GHz."""
        frequency_hz = np.arange(1e9, 261e9, 1e9)
        at = fw.station(47, frequency_hz)
        sweeps = trl_sweeps(at, frequency_hz, 2)
        definitions = TrlDefinitions(LENGTHS_M[:2], LINE_PERMITTIVITY, Short())
        usual = solve_trl(frequency_hz, sweeps, definitions, switch_terms=switch(at))
        assert frequency_hz[usual.determined][[0, -1]].tolist() == [30e9, 233e9]
        assert any("no two lines differ by 20 to 160" in note for note in usual.notes)
        assert usual.solved_line is not None
        at_131_ghz = 360 * 131e9 * 250e-6 * np.sqrt(LINE_PERMITTIVITY) / fw.SPEED_OF_LIGHT_M_PER_S
        assert at_131_ghz == pytest.approx(89.68, abs=0.01)
        assert usual.solved_line.phase_difference_deg[130] == pytest.approx(at_131_ghz)
        wider = solve_trl(
            frequency_hz,
            sweeps,
            definitions,
            switch_terms=switch(at),
            least_phase_deg=10.0,
            largest_phase_deg=170.0,
        )
        assert frequency_hz[wider.determined][[0, -1]].tolist() == [15e9, 248e9]

    def test_more_lines_widen_the_band_and_lower_the_condition(self) -> None:
        at = fw.station(47)
        assert trl(at, BAND_HZ, 2).determined.sum() < trl(at, BAND_HZ, 6).determined.sum()
        two, six = (multiline_trl(at, BAND_HZ, n).condition for n in (2, 6))
        assert six[5] < two[5] / 5
        assert np.median(six) <= np.median(two)

    @pytest.mark.parametrize("solve", [solve_trl, solve_multiline_trl])
    @pytest.mark.parametrize(
        "order", [[2, 0, 3, 1], [0, 1, 1, 2], [3, 3, 0]], ids=["mixed", "twice", "first twice"]
    )
    def test_order_and_repeats_of_the_lines_do_not_matter(
        self, solve: Callable[..., CalibrationSolution], order: list[int]
    ) -> None:
        at = fw.station(48)
        sweeps = trl_sweeps(at, BAND_HZ, 4)
        shuffled = solve(
            BAND_HZ,
            TrlSweeps(sweeps.lines[order], sweeps.reflect),
            TrlDefinitions(tuple(LENGTHS_M[n] for n in order), LINE_PERMITTIVITY, Short()),
            switch_terms=switch(at),
        )
        devices = fw.passive_devices(3, 5, len(BAND_HZ))
        found = correct(shuffled.terms, fw.raw_sweep(at, devices))
        assert shuffled.determined.mean() > 0.7
        assert np.abs(found - devices)[:, shuffled.determined].max() <= GATE
        assert shuffled.solved_line is not None
        gamma = shuffled.solved_line.propagation_per_m / line_propagation(BAND_HZ)
        assert np.abs(gamma - 1.0)[shuffled.determined].max() <= 1e-8

    @pytest.mark.parametrize("noise", [0.0, 1e-4, 1e-3])
    def test_same_as_scikit_rf_s_multiline_of_noisy_sweeps(self, noise: float) -> None:
        """TUGMultilineTRL weighs the lines alike: both err together, whatever the noise."""
        frequency_hz = np.linspace(1e9, 110e9, 23)
        at = fw.station(49, frequency_hz)
        exact = trl_sweeps(at, frequency_hz, 6)
        rng = np.random.default_rng(4)
        lines, reflect = (
            s + noise * (rng.normal(size=s.shape) + 1j * rng.normal(size=s.shape))
            for s in (exact.lines, exact.reflect)
        )
        theirs = TUGMultilineTRL(
            [network(s, frequency_hz) for s in lines],
            list(LENGTHS_M),
            er_est=LINE_PERMITTIVITY,
            reflect_meas=network(reflect, frequency_hz),
            reflect_est=-1,
            switch_terms=(
                network(at.switch_forward, frequency_hz),
                network(at.switch_reverse, frequency_hz),
            ),
        )
        ours = solve_multiline_trl(
            frequency_hz,
            TrlSweeps(lines, reflect),
            TrlDefinitions(LENGTHS_M, 1.04 * LINE_PERMITTIVITY, Short()),
            switch_terms=switch(at),
        )
        device = fw.active_devices(4, 1, len(frequency_hz))[0]
        raw = fw.raw_sweep(at, device)
        found, found_there = (
            correct(ours.terms, raw),
            theirs.apply_cal(network(raw, frequency_hz)).s,
        )
        error = np.sqrt(np.mean(np.abs(found - device) ** 2))
        assert np.sqrt(np.mean(np.abs(found - found_there) ** 2)) <= 0.05 * error + GATE

    def test_same_as_the_other_form_of_multiline(self) -> None:
        """NIST's form (Marks; DeGroot, Jargon and Marks) in scikit-rf is good to 1e-6."""
        frequency_hz = np.linspace(5e9, 110e9, 41)
        at = fw.station(49, frequency_hz)
        sweeps = trl_sweeps(at, frequency_hz, 6)
        nist = NISTMultilineTRL(
            [
                network(s, frequency_hz)
                for s in [sweeps.lines[0], sweeps.reflect, *sweeps.lines[1:]]
            ],
            [-1],
            list(LENGTHS_M),
            er_est=LINE_PERMITTIVITY,
            switch_terms=(
                network(at.switch_forward, frequency_hz),
                network(at.switch_reverse, frequency_hz),
            ),
        )
        raw = fw.raw_sweep(at, fw.active_devices(4, 1, len(frequency_hz))[0])
        ours = correct(multiline_trl(at, frequency_hz).terms, raw)
        assert np.abs(ours - nist.apply_cal(network(raw, frequency_hz)).s).max() <= 1e-6

    @pytest.mark.parametrize("solve", [solve_trl, solve_multiline_trl])
    def test_what_cannot_be_solved_is_refused_in_a_sentence(
        self, solve: Callable[..., CalibrationSolution]
    ) -> None:
        sweeps = trl_sweeps(fw.station(1), BAND_HZ, 2)
        for lengths_m, sentence in (
            ((0.0,), "2 lines were measured and 1 lengths given"),
            ((1e-3, 1e-3), "at least two different lengths"),
        ):
            with pytest.raises(CalibrationNotSolvable, match=sentence):
                solve(BAND_HZ, sweeps, TrlDefinitions(lengths_m, 5.2, Short()))
