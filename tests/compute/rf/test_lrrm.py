"""LRRM: every arrangement of standards, scikit-rf, and what cannot be told."""

from dataclasses import replace

import numpy as np
import pytest
import skrf
from skrf.calibration import LRRM

from sitegen.compute.rf.correct import correct
from sitegen.compute.rf.definitions import Load, Offset, Open, Short, Thru, reflection
from sitegen.compute.rf.load_fit import MatchFit
from sitegen.compute.rf.lrrm import LrrmDefinitions, LrrmSweeps, solve_lrrm
from sitegen.compute.rf.solution import CalibrationNotSolvable, CalibrationSolution, Port
from tests.compute.rf import forward as fw
from tests.compute.rf.solved import (
    DEFINITIONS,
    LOAD_H,
    OPEN_F,
    SHORT_H,
    arranged_lrrm,
    switch,
)

GATE = 1e-10
SECONDS_PER_M = np.sqrt(5.2) / fw.SPEED_OF_LIGHT_M_PER_S
WIDE_HZ = np.linspace(10e6, 220e9, 101)
FITS: tuple[MatchFit, ...] = ("none", "l", "lc")


def worst(solution: CalibrationSolution, at: fw.Station, frequency_hz: fw.Floats) -> float:
    """Largest |S - true| of some devices where the solution is determined."""
    devices = fw.passive_devices(21, 10, len(frequency_hz))
    apart = np.abs(correct(solution.terms, fw.raw_sweep(at, devices)) - devices)
    return float(apart[:, solution.determined].max())


class TestArrangements:
    @pytest.mark.parametrize("fit", FITS)
    @pytest.mark.parametrize("match_port", [1, 2])
    @pytest.mark.parametrize("thru_m", [0.0, 10e-6, 200e-6, 700e-6])
    @pytest.mark.parametrize("offset_m", [0.0, 50e-6, 100e-6, 200e-6])
    def test_any_offset_thru_and_match_port(
        self, offset_m: float, thru_m: float, match_port: Port, fit: MatchFit
    ) -> None:
        """700 um are more than half a wavelength at the upper end."""
        at = fw.station(31, WIDE_HZ, leak=1e-3)
        shunt_f = 0.0 if fit == "l" else 3e-15
        solution = arranged_lrrm(
            at,
            WIDE_HZ,
            fit=fit,
            match_port=match_port,
            thru_delay_s=thru_m * SECONDS_PER_M,
            offset_s=offset_m * SECONDS_PER_M,
            short_loss=0.93,
            load_shunt_f=shunt_f,
        )
        assert solution.determined.mean() >= 0.95
        assert worst(solution, at, WIDE_HZ) <= GATE
        found = solution.fitted_load
        if fit == "none":
            assert found is None
            return
        assert found is not None
        assert solution.fitted_load_inductance_port == match_port
        assert found.inductance_h == pytest.approx(LOAD_H, rel=1e-6)
        if fit == "lc":
            assert found.capacitance_f == pytest.approx(shunt_f, rel=1e-6)
            assert found.open_capacitance_f == pytest.approx(OPEN_F, rel=1e-6)

    def test_inductance_and_capacitance_of_any_usual_size(self) -> None:
        """Neither is near what was declared, and a second minimum lies close by."""
        rng = np.random.default_rng(0)
        for seed in range(20):
            frequency_hz = np.linspace(10e6, rng.choice([67e9, 110e9, 220e9]), 101)
            at = fw.station(seed, frequency_hz)
            load_h, load_f, open_f = rng.uniform([-10e-12, -5e-15, -10e-15], [15e-12, 8e-15, 1e-14])
            delay_s = rng.choice([0.0, 0.5e-12, 1.5e-12])
            short, open_ = fw.short_gamma(frequency_hz, 0.0), fw.open_gamma(frequency_hz, open_f)
            load = fw.load_gamma(frequency_hz, 50.0, load_h, load_f)
            devices = [fw.ideal_line(frequency_hz, delay_s)]
            devices += [fw.pair(g, g) for g in (short, open_, load)]
            found = solve_lrrm(
                frequency_hz,
                50.0,
                LrrmSweeps(*(fw.raw_sweep(at, device) for device in devices)),
                LrrmDefinitions(Thru(delay_s), Short(), Open(), Load()),
                fit="lc",
                switch_terms=switch(at),
            ).fitted_load
            assert found is not None
            assert found.inductance_h == pytest.approx(load_h, abs=1e-17)
            assert found.capacitance_f == pytest.approx(load_f, abs=1e-20)
            assert found.open_capacitance_f == pytest.approx(open_f, abs=1e-20)

    @pytest.mark.parametrize("n_freq", [2, 11, 401, 2001])
    def test_any_number_of_points(self, n_freq: int) -> None:
        frequency_hz = np.linspace(10e6, 110e9, n_freq)
        at = fw.station(32, frequency_hz)
        solution = arranged_lrrm(at, frequency_hz)
        assert solution.determined.all()
        assert worst(solution, at, frequency_hz) <= GATE
        assert solution.redundancy == n_freq - 1

    def test_lossy_offsets_of_another_impedance(self) -> None:
        """The open's magnitude falls with its offset's loss, and enters the fit as defined."""
        offset = Offset(1e-12, 45.0, 30e9)
        definitions = LrrmDefinitions(
            Thru(0.0), Short(SHORT_H, offset), Open(OPEN_F, offset), Load(50.0, LOAD_H, 0.0, offset)
        )
        at = fw.station(33)
        short, open_, match = (
            reflection(one, fw.BAND_HZ, 50.0)
            for one in (definitions.short, definitions.open, definitions.match)
        )
        assert np.abs(open_).min() < 0.9995
        devices = [fw.ideal_line(fw.BAND_HZ, 0.0)] + [fw.pair(g, g) for g in (short, open_, match)]
        solution = solve_lrrm(
            fw.BAND_HZ,
            50.0,
            LrrmSweeps(*(fw.raw_sweep(at, device) for device in devices)),
            replace(definitions, match=replace(definitions.match, inductance_h=0.0)),
            switch_terms=switch(at),
        )
        assert worst(solution, at, fw.BAND_HZ) <= GATE
        assert solution.fitted_load_inductance_h == pytest.approx(LOAD_H, rel=1e-8)

    def test_direct_current_is_no_obstacle(self) -> None:
        frequency_hz = np.concatenate([[0.0], fw.BAND_HZ[::10]])
        at = fw.station(34, frequency_hz)
        solution = arranged_lrrm(at, frequency_hz)
        assert solution.determined.all()
        assert worst(solution, at, frequency_hz) <= GATE


class TestAgainstScikitRf:
    def raw(self, at: fw.Station, noise: float) -> list[fw.Array]:
        rng = np.random.default_rng(3)
        short, open_ = fw.short_gamma(fw.BAND_HZ, SHORT_H), fw.open_gamma(fw.BAND_HZ, OPEN_F)
        load = fw.load_gamma(fw.BAND_HZ, 50.0, LOAD_H)
        devices = [fw.ideal_line(fw.BAND_HZ, fw.THRU_DELAY_S)]
        devices += [fw.pair(g, g) for g in (short, open_, load)]
        return [
            fw.raw_sweep(at, s) + noise * (rng.normal(size=s.shape) + 1j * rng.normal(size=s.shape))
            for s in devices
        ]

    def theirs(self, at: fw.Station, raw: list[fw.Array]) -> LRRM:
        frequency = skrf.Frequency.from_f(fw.BAND_HZ, unit="hz")

        def network(s: fw.Array) -> skrf.Network:
            return skrf.Network(frequency=frequency, s=s, z0=50)

        resistor = np.zeros(len(fw.BAND_HZ), complex)
        short, open_ = fw.short_gamma(fw.BAND_HZ, SHORT_H), fw.open_gamma(fw.BAND_HZ, OPEN_F)
        ideals = [fw.ideal_line(fw.BAND_HZ, fw.THRU_DELAY_S)]
        ideals += [fw.pair(g, g) for g in (short, open_, resistor)]
        run = LRRM(
            [network(s) for s in raw],
            [network(s) for s in ideals],
            switch_terms=(network(at.switch_forward), network(at.switch_reverse)),
            match_fit="l",
        )
        run.run()
        return run

    def test_same_solution_without_noise(self) -> None:
        at = fw.station(35)
        raw = self.raw(at, 0.0)
        ours = solve_lrrm(fw.BAND_HZ, 50.0, LrrmSweeps(*raw), DEFINITIONS, switch_terms=switch(at))
        theirs = self.theirs(at, raw)
        device = fw.raw_sweep(at, fw.active_devices(5, 1, len(fw.BAND_HZ))[0])
        network = skrf.Network(frequency=theirs.frequency, s=device, z0=50)
        assert np.abs(correct(ours.terms, device) - theirs.apply_cal(network).s).max() <= 1e-9

    def test_same_solution_of_noisy_sweeps_for_the_same_load(self) -> None:
        """Noise of 1e-3 leaves no symmetry to hide behind; only the fit's weights differ."""
        at = fw.station(35)
        raw = self.raw(at, 1e-3)
        theirs = self.theirs(at, raw)
        load_h = float(theirs.solved_l[0])
        declared = replace(DEFINITIONS, match=Load(50.0, load_h))
        ours = solve_lrrm(
            fw.BAND_HZ, 50.0, LrrmSweeps(*raw), declared, fit="none", switch_terms=switch(at)
        )
        device = fw.raw_sweep(at, fw.active_devices(5, 1, len(fw.BAND_HZ))[0])
        network = skrf.Network(frequency=theirs.frequency, s=device, z0=50)
        assert np.abs(correct(ours.terms, device) - theirs.apply_cal(network).s).max() <= 1e-9
        fitted = solve_lrrm(
            fw.BAND_HZ, 50.0, LrrmSweeps(*raw), DEFINITIONS, switch_terms=switch(at)
        ).fitted_load
        assert fitted is not None
        assert abs(fitted.inductance_h - load_h) < 3.0 * fitted.u_inductance_h


class TestNotDetermined:
    @pytest.mark.parametrize("at_hz", [10e6, 10e9, 110e9])
    def test_one_frequency_tells_no_inductance_unless_it_is_declared(self, at_hz: float) -> None:
        frequency_hz = np.array([at_hz])
        at = fw.station(36, frequency_hz)
        solution = arranged_lrrm(at, frequency_hz, fit="l")
        assert not solution.determined.any()
        assert np.isnan(solution.fitted_load_inductance_h)  # type: ignore[arg-type]
        assert any("unless it is declared" in note for note in solution.notes)
        declared = arranged_lrrm(at, frequency_hz, fit="none")
        assert declared.determined.all()
        assert worst(declared, at, frequency_hz) <= GATE

    @pytest.mark.parametrize("fit", ["l", "lc"])
    def test_low_frequencies_tell_none_either(self, fit: MatchFit) -> None:
        frequency_hz = np.linspace(1e6, 10e6, 21)
        at = fw.station(36, frequency_hz)
        solution = arranged_lrrm(at, frequency_hz, fit=fit)
        assert not solution.determined.any()

    @pytest.mark.parametrize(
        ("noise", "defined"),
        [
            (0.0, (0.0, 0.0)),
            (1e-6, (0.0, 0.0)),
            (1e-3, (0.0, 0.0)),
            (0.0, (SHORT_H, OPEN_F)),
            (1e-6, (SHORT_H, OPEN_F)),
        ],
    )
    def test_reflects_an_eighth_wavelength_from_the_middle_look_alike(
        self, noise: float, defined: tuple[float, float]
    ) -> None:
        """Seen there, an ideal short is +j and an ideal open -j: port 2 shows the same pair.

        Noise does not hide it from definitions that expect it, nor the definitions from sweeps
        with little noise.
        """
        frequency_hz = np.array([50e9, 1 / (4 * fw.THRU_DELAY_S), 220e9])
        at = fw.station(37, frequency_hz)
        line = fw.ideal_line(frequency_hz, fw.THRU_DELAY_S)
        one = np.ones(3, complex)
        devices = [line, fw.pair(-one, -one), fw.pair(one, one), fw.pair(0 * one, 0 * one)]
        for seed in range(30):
            rng = np.random.default_rng(seed)
            solution = solve_lrrm(
                frequency_hz,
                50.0,
                LrrmSweeps(
                    *(fw.raw_sweep(at, s) + noise * rng.normal(size=s.shape) for s in devices)
                ),
                LrrmDefinitions(Thru(fw.THRU_DELAY_S), Short(defined[0]), Open(defined[1]), Load()),
                fit="none",
                switch_terms=switch(at),
            )
            assert solution.determined.tolist() == [True, False, True]
            assert worst(solution, at, frequency_hz) <= GATE + 200.0 * noise

    def test_equal_reflects_are_refused(self) -> None:
        same = np.full(len(fw.BAND_HZ), 0.9 + 0j)
        at = fw.station(6)
        sweep = fw.raw_sweep(at, fw.pair(same, same))
        thru = fw.raw_sweep(at, fw.ideal_line(fw.BAND_HZ, fw.THRU_DELAY_S))
        with pytest.raises(CalibrationNotSolvable, match="no frequency"):
            solve_lrrm(fw.BAND_HZ, 50.0, LrrmSweeps(thru, sweep, sweep, sweep), DEFINITIONS)

    def test_a_sweep_of_another_length_is_refused(self) -> None:
        sweep = fw.ideal_line(fw.BAND_HZ, 0.0)
        with pytest.raises(CalibrationNotSolvable, match="the raw short has shape"):
            solve_lrrm(fw.BAND_HZ, 50.0, LrrmSweeps(sweep, sweep[1:], sweep, sweep), DEFINITIONS)


class TestUncertainty:
    @pytest.mark.parametrize("arrangement", [{}, {"thru_delay_s": 0.0, "match_port": 2}])
    def test_the_interval_holds_the_inductance(self, arrangement: dict[str, float]) -> None:
        """400 calibrations with noise of 1e-3: 95 % intervals hold it in 92.5 to 97.5 %.

        The binomial band of 2.3 standard deviations; 95.3 % of 1,000 with 201 points were seen.
        """
        frequency_hz = np.linspace(10e6, 110e9, 101)
        at = fw.station(6, frequency_hz)
        fits = [
            arranged_lrrm(at, frequency_hz, noise=1e-3, seed=seed, **arrangement).fitted_load  # type: ignore[arg-type]
            for seed in range(400)
        ]
        off = np.array([(one.inductance_h - LOAD_H, one.u_inductance_h) for one in fits if one])
        assert len(off) == 400
        assert 0.925 <= np.mean(np.abs(off[:, 0]) <= 1.96 * off[:, 1]) <= 0.975
        assert np.std(off[:, 0]) == pytest.approx(np.mean(off[:, 1]), rel=0.1)

    def test_the_interval_holds_inductance_and_capacitance(self) -> None:
        """150 calibrations with noise of 2e-4; 94.2 % of 1,200 with 201 points were seen."""
        frequency_hz = np.linspace(10e6, 110e9, 101)
        at = fw.station(6, frequency_hz)
        held = []
        for seed in range(150):
            one = arranged_lrrm(
                at, frequency_hz, fit="lc", load_shunt_f=3e-15, noise=2e-4, seed=seed
            ).fitted_load
            assert one is not None and one.capacitance_f and one.u_capacitance_f
            held.append(abs(one.inductance_h - LOAD_H) <= 1.96 * one.u_inductance_h)
            held.append(abs(one.capacitance_f - 3e-15) <= 1.96 * one.u_capacitance_f)
        assert 0.90 <= np.mean(held) <= 0.99

    def test_the_fit_passes_by_where_the_reflects_look_alike(self) -> None:
        at = fw.station(6, WIDE_HZ)
        fitted = arranged_lrrm(at, WIDE_HZ, noise=1e-4).fitted_load
        assert fitted is not None
        assert abs(fitted.inductance_h - LOAD_H) < 3.0 * fitted.u_inductance_h < 0.3e-12
