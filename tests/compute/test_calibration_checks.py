"""What each method's sweeps can be held to, from simulated stations whose truth is known."""

from dataclasses import replace

import numpy as np
import pytest

from sitegen.compute.calibration import SolvedCalibration, solve
from sitegen.compute.checks.judge import judged, stretches
from sitegen.compute.checks.reported import NAME
from sitegen.compute.history import with_history
from sitegen.compute.perturbations import with_uncertainty
from sitegen.compute.rf.terms import term_rows
from sitegen.model.calibration import CheckBounds, ProbeUse
from sitegen.model.campaign import Probe
from sitegen.model.event_results import Check, Curve
from sitegen.model.loaded import LoadedCalibration
from tests.compute.events import instrument
from tests.compute.recorded import (
    LINES_UM,
    LOAD_PH,
    METHODS,
    PERMITTIVITY,
    Arrangement,
    line_propagation,
    recorded,
)
from tests.compute.rf import forward as fw
from tests.faults import scenes

BAND_HZ = np.linspace(1e9, 110e9, 110)


def loaded(method: str, seed: int = 3, **changes: object) -> LoadedCalibration:
    how = Arrangement(changes=dict(changes))
    return recorded(method, fw.station(seed, BAND_HZ), BAND_HZ, how)


def named(solved: SolvedCalibration) -> dict[str, Check]:
    found = {check.name: check for check in solved.result.checks}
    assert len(found) == len(solved.result.checks), "names are unique"
    return found


def curves(solved: SolvedCalibration) -> dict[str, Curve]:
    return {curve.name: curve for curve in solved.result.curves}


@pytest.mark.parametrize("method", METHODS)
def test_every_check_has_its_group_and_nothing_sound_is_missed(method: str) -> None:
    solved = solve(loaded(method), instrument())
    for check in solved.result.checks:
        assert check.passed is not False, check
        assert check.text.endswith("."), check
    groups = {check.group for check in solved.result.checks}
    assert groups == {"before solving", "solution", "wear"}
    assert solved.result.candidates == ()
    for curve in solved.result.curves:
        assert curve.values.shape == BAND_HZ.shape


def test_frequencies_are_told_in_one_line() -> None:
    check = named(solve(loaded("SOLT"), instrument()))["frequencies"]
    assert check.figure == 110.0
    assert "1\u202fGHz to 110\u202fGHz" in check.text and "4 raw sweeps" in check.text


class TestLrrm:
    def test_the_fitted_load_with_sign_bound_and_port(self) -> None:
        bounds = CheckBounds(load_inductance_min_ph=0.0, load_inductance_max_ph=4.0)
        solved = solve(loaded("LRRM", bounds=bounds), instrument())
        check = named(solved)["fitted load inductance"]
        assert check.figure == pytest.approx(LOAD_PH * 1e-12, rel=1e-6)
        assert (check.lower, check.upper, check.passed) == (0.0, 4e-12, False)
        assert "port 1" in check.text and "negative" in check.text
        assert solved.result.outcome == "checks failed"
        assert len(solved.result.candidates) > 1

    def test_a_reflect_is_shown_and_the_assumed_one_as_remainder_only(self) -> None:
        solved = solve(loaded("LRRM"), instrument())
        names = set(named(solved)) | set(curves(solved))
        assert "magnitude of the solved short" in names
        assert "remainder of the load's fit" in names
        assert "magnitude of the solved open" not in names

    def test_a_load_that_took_no_part_is_a_residual(self) -> None:
        """Both ports name the load that was fitted; at port 2 it is 1 ohm more."""
        sound = loaded("LRRM", bounds=CheckBounds(residual=0.002))
        assert named(solve(sound, instrument()))["residual of the load not used, port 2"].passed
        name = next(one.contact.file for one in sound.standards if one.contact.port_1 == "load")
        other = fw.load_gamma(BAND_HZ, 51.5, LOAD_PH * 1e-12)
        mine = fw.load_gamma(BAND_HZ, 50.5, LOAD_PH * 1e-12)
        raw = fw.raw_sweep(fw.station(3, BAND_HZ), fw.pair(mine, other))
        worn = replace(
            sound,
            standards=tuple(
                replace(one, sweep=replace(one.sweep, s=raw)) if one.contact.file == name else one
                for one in sound.standards
            ),
        )
        solved = solve(worn, instrument())
        check = named(solved)["residual of the load not used, port 2"]
        assert check.passed is False
        assert check.figure == pytest.approx(np.abs(other - mine).max(), rel=0.01)
        assert any("worn" in cause and "port 2" in cause for cause in solved.result.candidates)


class TestLines:
    @pytest.mark.parametrize("method", ["TRL", "multiline TRL"])
    def test_permittivity_and_attenuation_are_those_of_the_line(self, method: str) -> None:
        gamma = line_propagation(BAND_HZ)
        loss_db_per_mm = 1e-3 * 20 * np.log10(np.e) * gamma.real
        permittivity = (
            -((gamma * fw.SPEED_OF_LIGHT_M_PER_S / (2j * np.pi * BAND_HZ)) ** 2).real * -1
        )
        bounds = CheckBounds(
            effective_permittivity_min=PERMITTIVITY,
            effective_permittivity_max=1.5 * PERMITTIVITY,
            attenuation_max_db_per_mm=0.001,
        )
        solved = solve(loaded(method, bounds=bounds), instrument())
        known = solved.result.determined
        assert known is not None and known.any()
        found = curves(solved)
        assert np.allclose(found["attenuation"].values[known], loss_db_per_mm[known], rtol=1e-6)
        check = named(solved)["effective permittivity"]
        assert check.passed is True and check.figure == pytest.approx(
            np.median(permittivity[known]), rel=0.02
        )
        assert named(solved)["attenuation"].passed is False

    def test_outside_the_phase_bounds_nothing_is_determined(self) -> None:
        how = Arrangement(lines_um=LINES_UM[:2])
        solved = solve(recorded("TRL", fw.station(3, BAND_HZ), BAND_HZ, how), instrument())
        length_m = (LINES_UM[1] - LINES_UM[0]) * 1e-6
        phase_deg = np.degrees(line_propagation(BAND_HZ).imag * length_m) % 180.0
        inside = (phase_deg >= 20.0) & (phase_deg <= 160.0)
        assert solved.result.determined is not None
        assert solved.result.determined.tolist() == inside.tolist()
        assert 0 < inside.sum() < len(inside)
        text = named(solved)["frequencies determined"].text
        assert f"not determined: {stretches(BAND_HZ, ~inside)}" in text
        assert named(solved)["phase of the line against the thru"].figure == pytest.approx(
            phase_deg[inside].min(), rel=1e-6
        )


class TestSolr:
    def test_the_phase_of_the_thru_and_its_branch(self) -> None:
        """A thru declared 1 ps too long is 0.36 degrees a gigahertz away from its definition."""
        sound = loaded("SOLR", bounds=CheckBounds(thru_phase_difference_deg=10.0))
        thru = sound.record.definitions["thru"]
        delay_ps = getattr(thru, "delay_ps") + 0.25  # noqa: B009
        wrong = {**sound.record.definitions, "thru": thru.model_copy(update={"delay_ps": delay_ps})}
        for definitions, off_deg in ((sound.record.definitions, 0.0), (wrong, 0.25e-3 * 360 * 110)):
            record = sound.record.model_copy(update={"definitions": definitions})
            check = named(solve(replace(sound, record=record), instrument()))[
                "phase of the solved thru"
            ]
            assert check.figure == pytest.approx(off_deg, abs=1e-6)
            assert check.passed is (off_deg <= 10.0) and "branch" in check.text

    def test_the_solved_thru_is_passive_to_rounding(self) -> None:
        check = named(solve(loaded("SOLR"), instrument()))["passivity of the solved thru"]
        assert check.figure == pytest.approx(0.0, abs=1e-9)


class TestRedundancy:
    def test_without_it_no_residual_is_shown(self) -> None:
        solved = solve(loaded("SOLT"), instrument())
        assert solved.result.redundancy == 0
        assert not [name for name in named(solved) if name.startswith("residual")]

    def test_with_it_the_worst_standard_is_named(self) -> None:
        how = Arrangement(fourth=True, changes={"bounds": CheckBounds(residual=0.01)})
        sound = recorded("SOLT", fw.station(3, BAND_HZ), BAND_HZ, how)
        assert named(solve(sound, instrument()))["residual of redundant standards, port 1"].passed
        wrong = sound.record.definitions["load-25"].model_copy(update={"resistance_ohm": 30.0})
        record = sound.record.model_copy(
            update={"definitions": {**sound.record.definitions, "load-25": wrong}}
        )
        check = named(solve(replace(sound, record=record), instrument()))[
            "residual of redundant standards, port 1"
        ]
        assert check.passed is False


class TestReportedTerms:
    def given(self, factor: complex, without: tuple[str, ...] = ()) -> SolvedCalibration:
        bounds = CheckBounds(reported_terms_difference=0.01)
        plain = loaded("SOLT", bounds=bounds)
        terms = solve(plain, instrument()).terms
        assert terms is not None
        reported = {
            row.symbol: row.values * (factor if row.symbol == "ETF" else 1.0)
            for row in term_rows(terms)
            if row.symbol not in without
        }
        return solve(replace(plain, reported_terms=reported), instrument())

    def test_what_a_device_would_see_of_them(self) -> None:
        """A transmission tracking of 2 % more: a passive S21 is at most 2 % off."""
        for factor, passed in ((1.001, True), (1.02, False)):
            solved = self.given(factor)
            (comparison,) = solved.result.comparisons
            assert comparison.kind == "reported terms" and comparison.passed is passed
            assert comparison.bound is not None
            assert comparison.bound == pytest.approx(
                np.full(len(BAND_HZ), 1.0 - 1.0 / factor), rel=0.35
            )
            assert (comparison.bound >= (1.0 - 1.0 / factor) * (1 - 1e-6)).all()
            assert named(solved)[NAME].passed is passed
            assert named(solved)[NAME].group == "comparison"

    def test_isolation_may_be_left_out(self) -> None:
        solved = self.given(1.0, without=("EXF", "EXR"))
        assert named(solved)[NAME].figure == pytest.approx(0.0, abs=1e-9)
        assert "Isolation" in named(solved)[NAME].text

    def test_any_other_term_may_not(self) -> None:
        solved = self.given(1.0, without=("ELR",))
        (comparison,) = solved.result.comparisons
        assert "ELR" in comparison.refused and comparison.bound is None
        assert named(solved)[NAME].figure is None and named(solved)[NAME].passed is None


class TestWear:
    PROBES = (
        Probe(id="P1", kind="rf", port=1, serial_number="1", contacts_max=100),
        Probe(id="P2", kind="rf", port=2, serial_number="2"),
    )

    def test_contacts_and_contact_resistance_of_each_probe(self) -> None:
        uses = (
            ProbeUse(
                port=1,
                probe="P1",
                contacts=101,
                contact_resistance_ohm=0.05,
                contact_resistance_max_ohm=0.1,
            ),
            ProbeUse(port=2, probe="P2", contacts=5000, contact_resistance_ohm=0.3),
        )
        solved = solve(loaded("SOLT", probe_use=uses), instrument(), self.PROBES)
        found = named(solved)
        assert found["contacts of probe P1"].passed is False
        assert found["contacts of probe P2"].passed is None
        assert found["contact resistance, port 1"].passed is True
        assert found["contact resistance, port 2"].passed is None
        assert found["contacts of this set of standards"].passed is True
        assert solved.result.candidates[0].startswith("a worn pad")


class TestNoise:
    def test_estimated_from_repeats_and_judged(self) -> None:
        """Declared distributions of the scenes: 2e-5 and 1.5e-4, from 808 degrees of freedom."""
        one = scenes.campaign_of(scenes.sound(1), 1).calibrations[0]
        bounds = one.record.bounds.model_copy(update={"noise_floor": 1e-4, "trace_noise": 1e-4})
        noisy = replace(one, record=one.record.model_copy(update={"bounds": bounds}))
        found = named(solve(noisy, instrument("VNA")))
        assert found["noise floor"].figure == pytest.approx(scenes.NOISE, rel=0.3)
        assert found["trace noise"].figure == pytest.approx(scenes.TRACE, rel=0.15)
        assert found["noise floor"].passed is True and found["trace noise"].passed is False

    def test_a_bound_without_repeats_is_not_determined(self) -> None:
        found = named(solve(loaded("SOLT", bounds=CheckBounds(noise_floor=1e-4)), instrument()))
        assert found["noise floor"].figure is None and found["noise floor"].passed is None


class TestOpenAgainstShort:
    def test_judged_where_a_bound_is_given(self) -> None:
        for bound, passed in ((5.0, True), (1e-3, False)):
            bounds = CheckBounds(open_short_distance=bound)
            found = named(solve(loaded("SOLT", bounds=bounds), instrument()))
            assert {found[f"open against short, port {port}"].passed for port in (1, 2)} == {passed}


def test_a_stated_uncertainty_reaches_the_fitted_loads_check() -> None:
    """The fit's scatter alone knows nothing of the resistance's uncertainty: 0.03 ohm here."""
    one = scenes.campaign_of(scenes.sound(1), 1).calibrations[0]
    alone = solve(one, instrument("VNA"))
    (whole,) = with_history([with_uncertainty(alone)])
    before, after = (named(each)["fitted load inductance"] for each in (alone, whole))
    assert before.figure == after.figure
    assert before.u is not None and after.u is not None and after.u != before.u
    assert whole.solution is not None and whole.solution.fitted_load is not None
    assert after.u == whole.solution.fitted_load.u_inductance_h


class TestJudge:
    def test_bounds_are_met_on_them(self) -> None:
        assert judged("wear", "x", 1.0, "", upper=1.0).passed is True
        assert judged("wear", "x", 1.0, "", lower=1.1).passed is False
        assert judged("wear", "x", 1.0, "").passed is None

    def test_not_a_number_is_not_determined_and_infinity_is_beyond(self) -> None:
        nan, infinite = (judged("wear", "x", v, "", upper=1.0) for v in (np.nan, np.inf))
        assert (nan.figure, nan.passed) == (None, None)
        assert (infinite.figure, infinite.passed) == (None, False)

    def test_stretches_of_frequencies(self) -> None:
        where = np.array([True, True, False, True])
        told = stretches(np.array([1e7, 2.1e9, 3e9, 4e10]), where)
        assert told.replace("\u202f", " ") == "10 MHz to 2.1 GHz, 40 GHz"
