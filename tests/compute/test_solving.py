"""Every method from its record: noiseless truth, any arrangement, what cannot be solved."""

from dataclasses import replace

import numpy as np
import pytest

from sitegen.compute.contacts import contacts_at
from sitegen.compute.rf.correct import correct
from sitegen.compute.rf.eight_term import SWITCH_TERMS_NOTE
from sitegen.compute.rf.solution import CalibrationNotSolvable
from sitegen.compute.rf.terms import term_rows
from sitegen.compute.solving import solution_of
from sitegen.compute.standard_weights import weights_of
from sitegen.model.calibration import ShortDefinition
from tests.compute.recorded import (
    GATE,
    LOAD_PH,
    METHODS,
    OPEN_FF,
    PERMITTIVITY,
    S_PER_UM,
    SHORT_PH,
    Arrangement,
    assert_recovers,
    line_impedance,
    line_propagation,
    recorded,
)
from tests.compute.rf import forward as fw
from tests.compute.rf.solved import shifted

BAND_HZ = np.linspace(10e6, 110e9, 101)
WIDE_HZ = np.linspace(10e6, 220e9, 101)


@pytest.mark.parametrize("method", METHODS)
class TestEveryMethod:
    @pytest.mark.parametrize("frequency_hz", [BAND_HZ, WIDE_HZ], ids=["110 GHz", "220 GHz"])
    def test_truth_is_recovered_in_any_order(self, method: str, frequency_hz: fw.Floats) -> None:
        for order in range(4):
            at = fw.station(order, frequency_hz)
            how = Arrangement(order=order)
            assert_recovers(solution_of(recorded(method, at, frequency_hz, how)), at)

    @pytest.mark.parametrize("n_freq", [2, 3, 2001])
    def test_few_points_and_many(self, method: str, n_freq: int) -> None:
        """TRL does not tell 10 MHz, one of two or three points."""
        frequency_hz = np.linspace(10e6, 220e9 if n_freq > 3 else 105e9, n_freq)
        at = fw.station(1, frequency_hz)
        share = 0.5 if n_freq <= 3 else 0.95
        assert_recovers(solution_of(recorded(method, at, frequency_hz)), at, share)

    def test_one_point(self, method: str) -> None:
        frequency_hz = np.array([40e9])
        at = fw.station(2, frequency_hz)
        changes = {"load_fit": "none"} if method == "LRRM" else {}
        how = Arrangement(changes=changes)
        assert_recovers(solution_of(recorded(method, at, frequency_hz, how)), at)

    @pytest.mark.parametrize("offset_um", [0.0, 30.0, 100.0, 200.0])
    @pytest.mark.parametrize("thru_um", [0.0, 200.0])
    def test_any_offset_and_a_flush_thru(
        self, method: str, thru_um: float, offset_um: float
    ) -> None:
        at = fw.station(3, WIDE_HZ)
        lines_um = tuple(thru_um + more for more in (0.0, 250.0, 700.0, 1600.0, 3300.0))
        how = Arrangement(offset_um=offset_um, thru_um=thru_um, lines_um=lines_um)
        assert_recovers(solution_of(recorded(method, at, WIDE_HZ, how)), at)

    def test_ports_measured_one_after_the_other(self, method: str) -> None:
        at = fw.station(4, BAND_HZ)
        assert_recovers(
            solution_of(recorded(method, at, BAND_HZ, Arrangement(ports_apart=True))), at
        )

    def test_without_switch_terms(self, method: str) -> None:
        """Right where the receiving ports are terminated alike, and noted."""
        shown = fw.station(5, BAND_HZ)
        none = np.zeros(len(BAND_HZ), complex)
        at = replace(shown, switch_forward=none, switch_reverse=none)
        solution = solution_of(recorded(method, at, BAND_HZ, Arrangement(with_switch_terms=False)))
        assert_recovers(solution, at)
        assert (SWITCH_TERMS_NOTE in solution.notes) == (method != "SOLT")

    def test_only_definitions_and_sweeps_enter(self, method: str) -> None:
        at = fw.station(6, BAND_HZ)
        one = recorded(method, at, BAND_HZ)
        other = replace(one, record=one.record.model_copy(update={"averaging": 7, "by": "another"}))
        for first, second in zip(
            term_rows(solution_of(one).terms), term_rows(solution_of(other).terms), strict=True
        ):
            assert np.array_equal(first.values, second.values, equal_nan=True)


class TestLrrm:
    @pytest.mark.parametrize("ports", [(1,), (2,), (1, 2)], ids=["port 1", "port 2", "both"])
    @pytest.mark.parametrize("fit", ["none", "inductance", "inductance and capacitance"])
    def test_load_at_either_port(self, ports: tuple[int, ...], fit: str) -> None:
        at = fw.station(7, BAND_HZ)
        how = Arrangement(load_ports=ports, offset_um=50.0, changes={"load_fit": fit})
        solution = solution_of(recorded("LRRM", at, BAND_HZ, how))
        assert_recovers(solution, at)
        found = solution.fitted_load
        assert (found is None) == (fit == "none")
        if found is not None:
            assert found.inductance_h == pytest.approx(LOAD_PH * 1e-12, rel=1e-6)
            assert solution.fitted_load_inductance_port == ports[0]
        if fit == "inductance and capacitance":
            assert found is not None and found.open_capacitance_f is not None
            assert found.capacitance_f == pytest.approx(0.0, abs=1e-20)
            assert found.open_capacitance_f == pytest.approx(OPEN_FF * 1e-15, rel=1e-6)

    @pytest.mark.parametrize("fit", ["inductance", "inductance and capacitance"])
    def test_a_held_load_keeps_a_change_at_its_frequency(self, fit: str) -> None:
        at = fw.station(8, BAND_HZ)
        loaded = recorded("LRRM", at, BAND_HZ, Arrangement(changes={"load_fit": fit}))
        whole = solution_of(loaded)
        short = loaded.standards[0]
        s = short.sweep.s.copy()
        s[40] += 1e-3
        changed = replace(short, sweep=replace(short.sweep, s=s))
        moved = replace(loaded, standards=(changed, *loaded.standards[1:]))
        for one, other in zip(
            term_rows(whole.terms), term_rows(solution_of(moved, whole).terms), strict=True
        ):
            apart = np.abs(one.values - other.values)
            assert apart[np.arange(101) != 40].max() <= GATE
        free = solution_of(moved).fitted_load
        assert free is not None and whole.fitted_load is not None
        assert free.inductance_h != whole.fitted_load.inductance_h

    def test_the_load_of_the_day(self) -> None:
        """Declared 50 ohm, measured 50.5 ohm through the probe that day."""
        at = fw.station(9, BAND_HZ)
        loaded = recorded("LRRM", at, BAND_HZ)
        definitions = dict(loaded.record.definitions)
        definitions["load"] = definitions["load"].model_copy(update={"resistance_ohm": 50.0})
        substrate = loaded.record.substrate.model_copy(update={"load_resistance_port_1_ohm": 50.5})
        record = loaded.record.model_copy(
            update={"definitions": definitions, "substrate": substrate}
        )
        assert_recovers(solution_of(replace(loaded, record=record)), at)

    @pytest.mark.parametrize(
        "frequency_hz",
        [np.array([10e9]), np.array([10e6]), np.linspace(1e6, 10e6, 21)],
        ids=["one point", "10 MHz", "to 10 MHz"],
    )
    def test_an_inductance_that_cannot_be_told_is_no_number(self, frequency_hz: fw.Floats) -> None:
        at = fw.station(10, frequency_hz)
        with pytest.raises(CalibrationNotSolvable, match="does not tell the load's inductance"):
            solution_of(recorded("LRRM", at, frequency_hz))
        declared = Arrangement(changes={"load_fit": "none"})
        assert_recovers(solution_of(recorded("LRRM", at, frequency_hz, declared)), at)


class TestUnequalReflects:
    @pytest.mark.parametrize("method", ["LRRM", "LRM", "TRL", "multiline TRL"])
    @pytest.mark.parametrize("short_2_ph", [4.0, 12.0, -5.0])
    def test_definitions_that_differ_between_the_ports(
        self, method: str, short_2_ph: float
    ) -> None:
        how = Arrangement(reflect="short", short_2_ph=short_2_ph)
        at = fw.station(11, BAND_HZ)
        assert_recovers(solution_of(recorded(method, at, BAND_HZ, how)), at)

    @pytest.mark.parametrize("method", ["LRRM", "LRM", "TRL"])
    @pytest.mark.parametrize("behind_um", [10.0, 20.0, 100.0])
    def test_one_port_s_short_behind_an_offset(self, method: str, behind_um: float) -> None:
        """Far apart they are told, never solved wrongly."""
        at = fw.station(11, BAND_HZ)
        loaded = recorded(method, at, BAND_HZ, Arrangement(reflect="short"))
        definitions = dict(loaded.record.definitions)
        short = definitions["short"]
        assert isinstance(short, ShortDefinition)
        offset = short.offset.model_copy(update={"delay_ps": behind_um * S_PER_UM * 1e12})
        definitions["short-2"] = short.model_copy(update={"offset": offset})
        gamma = fw.short_gamma(BAND_HZ, SHORT_PH * 1e-12)
        moved = fw.pair(gamma, shifted(gamma, BAND_HZ, behind_um * S_PER_UM))
        standards = [
            replace(
                one,
                contact=one.contact.model_copy(update={"port_2": "short-2"}),
                sweep=replace(one.sweep, s=fw.raw_sweep(at, moved)),
            )
            if one.contact.port_2 == "short"
            else one
            for one in loaded.standards
        ]
        record = loaded.record.model_copy(update={"definitions": definitions})
        loaded = replace(loaded, standards=tuple(standards), record=record)
        if method == "LRRM" and behind_um == 100.0:
            with pytest.raises(CalibrationNotSolvable, match="too far apart"):
                solution_of(loaded)
        else:
            assert_recovers(solution_of(loaded), at)

    def test_one_changed_definition_counts(self) -> None:
        """A short of 4 pH at port 2 taken as 3 pH: the printed shift is 1.5e-2."""
        at = fw.station(12, BAND_HZ)
        right = recorded("LRRM", at, BAND_HZ, Arrangement(short_2_ph=4.0))
        definitions = {**right.record.definitions, "short-2": right.record.definitions["short"]}
        wrong = replace(right, record=right.record.model_copy(update={"definitions": definitions}))
        devices = fw.passive_devices(5, 6, 101)
        shift = np.abs(correct(solution_of(wrong).terms, fw.raw_sweep(at, devices)) - devices)
        assert 0.005 < shift.max() < 0.03


class TestLrm:
    @pytest.mark.parametrize("reflect", ["reflect", "short", "open"])
    def test_any_reflect(self, reflect: str) -> None:
        at = fw.station(13, BAND_HZ)
        solution = solution_of(recorded("LRM", at, BAND_HZ, Arrangement(reflect=reflect)))
        assert_recovers(solution, at)
        assert solution.solved_reflect is not None

    def test_a_load_at_one_port_is_not_enough(self) -> None:
        at = fw.station(13, BAND_HZ)
        with pytest.raises(CalibrationNotSolvable, match="no load was contacted at both ports"):
            solution_of(recorded("LRM", at, BAND_HZ, Arrangement(load_ports=(1,))))


class TestTrl:
    @pytest.mark.parametrize("method", ["TRL", "multiline TRL"])
    def test_line_and_reflect_are_found(self, method: str) -> None:
        at = fw.station(14, BAND_HZ)
        solution = solution_of(recorded(method, at, BAND_HZ))
        line, known = solution.solved_line, solution.determined
        assert line is not None and line.characteristic_impedance_ohm is not None
        truth = line_propagation(BAND_HZ)
        assert np.abs(line.propagation_per_m / truth - 1.0)[known].max() <= 1e-8
        z_c = line.characteristic_impedance_ohm
        assert np.abs(z_c / line_impedance(BAND_HZ) - 1.0)[known].max() <= 1e-8
        assert line.effective_permittivity.real[known][-1] == pytest.approx(PERMITTIVITY, rel=0.02)
        reflect = 0.93 * fw.short_gamma(BAND_HZ, 6e-12)
        assert solution.solved_reflect is not None
        assert np.abs(solution.solved_reflect - reflect)[known].max() <= GATE
        assert any("150 pF/m (closed form)" in note for note in solution.notes)

    def test_one_line_is_not_determined_near_half_wavelengths(self) -> None:
        """300 um against 200 um: 20 degrees at 73 GHz; against 1400 um: 180 degrees at 54.8 GHz."""
        at = fw.station(15, BAND_HZ)
        for longer_um, share in ((500.0, 0.7), (1400.0, 0.7)):
            how = Arrangement(lines_um=(200.0, longer_um))
            solution = solution_of(recorded("TRL", at, BAND_HZ, how))
            assert_recovers(solution, at, share)
            assert not solution.determined[0]
            degrees = 360.0 * BAND_HZ * (longer_um - 200.0) * 1e-6
            degrees *= np.sqrt(PERMITTIVITY) / fw.SPEED_OF_LIGHT_M_PER_S
            folded = degrees % 180.0
            assert solution.determined[(folded > 25.0) & (folded < 155.0)].all()
            assert not solution.determined[(folded < 15.0) | (folded > 165.0)].any()

    @pytest.mark.parametrize("method", ["TRL", "multiline TRL"])
    @pytest.mark.parametrize("factor", [0.7, 1.3])
    def test_the_permittivity_may_be_far_off(self, method: str, factor: float) -> None:
        """By 30 %: the longest line then differs from what is expected by three turns."""
        at = fw.station(15, WIDE_HZ)
        loaded = recorded(method, at, WIDE_HZ)
        assert loaded.record.line_medium is not None
        medium = loaded.record.line_medium.model_copy(
            update={"effective_permittivity": factor * PERMITTIVITY}
        )
        record = loaded.record.model_copy(update={"line_medium": medium})
        solution = solution_of(replace(loaded, record=record))
        assert_recovers(solution, at)
        assert solution.solved_line is not None
        found = solution.solved_line.propagation_per_m / line_propagation(WIDE_HZ)
        assert np.abs(found - 1.0)[solution.determined].max() <= 1e-8

    def test_the_phase_bounds_of_the_record_hold(self) -> None:
        at = fw.station(15, BAND_HZ)
        bounds = {"line_phase_min_deg": 60.0, "line_phase_max_deg": 120.0}
        how = Arrangement(lines_um=(200.0, 500.0), changes={"bounds": bounds})
        solution = solution_of(recorded("TRL", at, BAND_HZ, how))
        assert solution.solved_line is not None
        phase_deg = solution.solved_line.phase_difference_deg
        assert solution.determined.tolist() == ((phase_deg >= 60) & (phase_deg <= 120)).tolist()


class TestOnePort:
    @pytest.mark.parametrize("port", [1, 2])
    def test_files_of_one_port_or_two(self, port: int) -> None:
        at = fw.station(16, BAND_HZ)
        how = Arrangement(changes={"ports": (port,)})
        loaded = recorded("one-port", at, BAND_HZ, how)
        place = port - 1
        alone = tuple(
            replace(
                one,
                sweep=replace(one.sweep, s=one.sweep.s[:, place : place + 1, place : place + 1]),
            )
            for one in loaded.standards
        )
        device = fw.passive_devices(1, 1, 101)[0][:, 0, 0]
        raw = fw.raw_sweep(at, fw.pair(device, device))[:, place, place]
        for given in (loaded, replace(loaded, standards=alone)):
            solution = solution_of(given)
            assert np.abs(correct(solution.terms, raw) - device).max() <= GATE


class TestMoreStandardsThanNeeded:
    @pytest.mark.parametrize("method", ["one-port", "SOLT", "SOLR"])
    def test_all_of_them_enter(self, method: str) -> None:
        at = fw.station(19, BAND_HZ)
        changes = {"ports": (1,)} if method == "one-port" else {}
        how = Arrangement(fourth=True, fourth_u_ohm=0.2, changes=changes)
        solution = solution_of(recorded(method, at, BAND_HZ, how))
        assert solution.redundancy == len(solution.residuals) == (1 if changes else 2)
        for residual in solution.residuals:
            assert residual.values.shape == (4, 101)
            assert np.abs(residual.values).max() <= GATE
        if method != "one-port":
            assert_recovers(solution, at)

    def test_each_counts_by_its_stated_uncertainty(self) -> None:
        """dG = 2 Z0 dR/(R + Z0)^2: 0.0089 for 0.5 ohm at 25 ohm, against 0.001 for all others."""
        at = fw.station(19, BAND_HZ)
        how = Arrangement(fourth=True, fourth_u_ohm=0.5)
        loaded = recorded("SOLT", at, BAND_HZ, how)
        weights = weights_of(loaded, contacts_at(loaded, 1))
        assert weights is not None
        names = [one.name for one in contacts_at(loaded, 1)]
        shift = 2.0 * 50.0 * 0.5 / 75.0**2
        for name, weight in zip(names, weights, strict=True):
            expected = 1e-6 / (1e-6 + shift**2) if name == "load-25" else 1.0
            assert weight == pytest.approx(np.full(101, expected), rel=0.03)

    def test_a_doubtful_one_that_is_wrong_does_little(self) -> None:
        at = fw.station(19, BAND_HZ)
        devices = fw.passive_devices(5, 6, 101)
        shifts = []
        for u_ohm in (0.0, 1.0):
            loaded = recorded("SOLT", at, BAND_HZ, Arrangement(fourth=True, fourth_u_ohm=u_ohm))
            definitions = dict(loaded.record.definitions)
            definitions["load-25"] = definitions["load-25"].model_copy(
                update={"resistance_ohm": 26.0}
            )
            record = loaded.record.model_copy(update={"definitions": definitions})
            terms = solution_of(replace(loaded, record=record)).terms
            shifts.append(np.abs(correct(terms, fw.raw_sweep(at, devices)) - devices).max())
        assert shifts[1] < 0.05 * shifts[0]

    def test_a_second_thru_is_named_and_left_out(self) -> None:
        at = fw.station(20, BAND_HZ)
        loaded = recorded("LRRM", at, BAND_HZ)
        thru = next(one for one in loaded.standards if one.contact.between is not None)
        again = replace(thru, contact=thru.contact.model_copy(update={"file": "again.s2p"}))
        solution = solution_of(replace(loaded, standards=(*loaded.standards, again)))
        assert_recovers(solution, at)
        assert "LRRM has no use for the sweep again.s2p" in solution.notes


@pytest.mark.parametrize("method", ["SOLT", "SOLR", "LRM", "LRRM", "TRL"])
def test_sweeps_of_one_port_may_be_one_port_files(method: str) -> None:
    at = fw.station(17, BAND_HZ)
    loaded = recorded(method, at, BAND_HZ, Arrangement(ports_apart=True))
    standards = []
    for one in loaded.standards:
        s = one.sweep.s
        if one.contact.between is None:
            place = 0 if one.contact.port_1 is not None else 1
            s = s[:, place : place + 1, place : place + 1]
        standards.append(replace(one, sweep=replace(one.sweep, s=s)))
    assert_recovers(solution_of(replace(loaded, standards=tuple(standards))), at)


def test_what_a_method_has_no_use_for_is_named() -> None:
    at = fw.station(18, BAND_HZ)
    loaded = recorded("SOLT", at, BAND_HZ)
    record = loaded.record.model_copy(update={"method": "LRM"})
    notes = solution_of(replace(loaded, record=record)).notes
    idle = [one.contact.file for one in loaded.standards if one.contact.port_1 == "open"]
    assert f"LRM has no use for the sweep {idle[0]}" in notes
    assert (
        "SOLT does not need the switch terms: its own terms contain them"
        in solution_of(loaded).notes
    )
