"""Moving results from a line's impedance to a real one, against scikit-rf and the forward model."""

from collections.abc import Callable

import numpy as np
import pytest
import skrf

from sitegen.compute.rf.correct import correct
from sitegen.compute.rf.definitions import Short
from sitegen.compute.rf.multiline_trl import solve_multiline_trl
from sitegen.compute.rf.reference_impedance import (
    at_real_impedance,
    line_impedance,
    s_at_real_impedance,
)
from sitegen.compute.rf.solution import CalibrationSolution
from sitegen.compute.rf.terms import TwoPortTerms, term_rows
from sitegen.compute.rf.trl import TrlDefinitions, TrlSweeps, solve_trl
from tests.compute.rf import forward as fw
from tests.compute.rf.solved import LENGTHS_M, SHORT_H, solt, switch

FREQUENCY_HZ = np.linspace(1e9, 110e9, 55)
CAPACITANCE_F_PER_M = 1.5e-10
OMEGA = 2 * np.pi * FREQUENCY_HZ
SERIES_OHM_PER_M = 500 * np.sqrt(FREQUENCY_HZ / 1e9) + 1j * OMEGA * CAPACITANCE_F_PER_M * 47.0**2
PROPAGATION = np.sqrt(SERIES_OHM_PER_M * 1j * OMEGA * CAPACITANCE_F_PER_M)
LINE_OHM = np.sqrt(SERIES_OHM_PER_M / (1j * OMEGA * CAPACITANCE_F_PER_M))


def test_the_same_as_scikit_rf_in_pseudo_waves() -> None:
    s = fw.active_devices(1, 1, len(FREQUENCY_HZ))[0]
    frequency = skrf.Frequency.from_f(FREQUENCY_HZ, unit="hz")
    theirs = skrf.Network(frequency=frequency, s=s, z0=LINE_OHM, s_def="pseudo")
    theirs.renormalize(50.0, s_def="pseudo")
    assert np.abs(s_at_real_impedance(s, LINE_OHM, 50.0) - theirs.s).max() <= 1e-12


@pytest.mark.parametrize("solve", [solve_trl, solve_multiline_trl])
def test_trl_moved_to_fifty_ohm_gives_the_truth(
    solve: Callable[..., CalibrationSolution],
) -> None:
    """The line's impedance differs from 50 ohm and is complex, its capacitance is known."""
    at = fw.station(51, FREQUENCY_HZ, leak=1e-3)
    short = fw.short_gamma(FREQUENCY_HZ, SHORT_H)
    lines = [fw.line_s(FREQUENCY_HZ, PROPAGATION * m, LINE_OHM) for m in LENGTHS_M]
    solution = solve(
        FREQUENCY_HZ,
        TrlSweeps(
            np.array([fw.raw_sweep(at, line) for line in lines]),
            fw.raw_sweep(at, fw.pair(short, short)),
        ),
        TrlDefinitions(LENGTHS_M, 4.6, Short()),
        switch_terms=switch(at),
        raw_isolation=at.leak,
    )
    line = solution.solved_line
    assert line is not None
    known = solution.determined
    z_c = line_impedance(FREQUENCY_HZ, line.propagation_per_m, CAPACITANCE_F_PER_M)
    assert np.abs(z_c - LINE_OHM)[known].max() <= 1e-8
    assert np.isnan(solution.terms.z_ref_ohm)
    devices = fw.active_devices(2, 10, len(FREQUENCY_HZ))
    raw = fw.raw_sweep(at, devices)
    assert isinstance(solution.terms, TwoPortTerms)
    moved = at_real_impedance(solution.terms, z_c, 50.0)
    assert moved.z_ref_ohm == 50.0
    in_line = correct(solution.terms, raw)
    assert np.abs(in_line - devices)[:, known].max() > 0.05
    assert np.abs(correct(moved, raw) - devices)[:, known].max() <= 1e-10
    assert np.abs(s_at_real_impedance(in_line, z_c, 50.0) - devices)[:, known].max() <= 1e-10
    assert np.isnan(correct(moved, raw)[:, ~known]).all()


def test_moving_terms_and_moving_results_are_the_same_for_any_twelve_terms() -> None:
    """Also for load matches that no switch term explains."""
    at = fw.station(52, FREQUENCY_HZ, leak=1e-3)
    terms = solt(at, FREQUENCY_HZ).terms
    other = solt(fw.station(53, FREQUENCY_HZ), FREQUENCY_HZ).terms
    assert isinstance(terms, TwoPortTerms) and isinstance(other, TwoPortTerms)
    mixed = TwoPortTerms(FREQUENCY_HZ, 50.0, terms.forward, other.reverse)
    raw = fw.active_devices(4, 5, len(FREQUENCY_HZ))
    moved = at_real_impedance(mixed, LINE_OHM, 65.0)
    apart = correct(moved, raw) - s_at_real_impedance(correct(mixed, raw), LINE_OHM, 65.0)
    assert np.abs(apart).max() <= 1e-9
    back = at_real_impedance(at_real_impedance(mixed, 0 * LINE_OHM + 50, 65), 0 * LINE_OHM + 65, 50)
    for one, two in zip(term_rows(mixed), term_rows(back), strict=True):
        assert np.abs(one.values - two.values).max() <= 1e-12


def test_an_unknown_line_impedance_is_not_determined() -> None:
    z_c = LINE_OHM.copy()
    z_c[3] = np.nan
    s = fw.active_devices(1, 2, len(FREQUENCY_HZ))
    assert np.flatnonzero(np.isnan(s_at_real_impedance(s, z_c, 50.0)[0, :, 0, 0])).tolist() == [3]
    terms = solt(fw.station(1, FREQUENCY_HZ), FREQUENCY_HZ).terms
    assert isinstance(terms, TwoPortTerms)
    for row in term_rows(at_real_impedance(terms, z_c, 50.0)):
        assert np.flatnonzero(np.isnan(row.values)).tolist() == [3], row.name
    with pytest.raises(ValueError, match="real and positive"):
        s_at_real_impedance(s, z_c, -50.0)
