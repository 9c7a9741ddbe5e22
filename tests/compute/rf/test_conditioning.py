"""Up to the limit of the condition number the truth comes back; beyond it nothing does."""

from collections.abc import Callable

import numpy as np
import pytest

from sitegen.compute.rf.correct import correct
from sitegen.compute.rf.definitions import Load, Open, Short, Thru
from sitegen.compute.rf.lrm import LrmDefinitions, LrmSweeps, solve_lrm
from sitegen.compute.rf.lrrm import LrrmDefinitions, LrrmSweeps, solve_lrrm
from sitegen.compute.rf.one_port import Reflects
from sitegen.compute.rf.solr import solve_solr
from sitegen.compute.rf.solt import solve_solt
from sitegen.compute.rf.solution import CalibrationSolution
from sitegen.compute.rf.terms import term_rows
from sitegen.compute.rf.trl import TrlDefinitions, solve_trl
from tests.compute.rf import forward as fw
from tests.compute.rf.solved import (
    LENGTHS_M,
    LINE_PERMITTIVITY,
    WIDEST_CONDITION,
    multiline_trl,
    reflect_gammas,
    switch,
    trl_sweeps,
    turned,
    unlike_thru,
)

Solve = Callable[[fw.Station, fw.Floats], CalibrationSolution]
SMALL = np.geomspace(1e-6, 1e-1, 61)
EIGHTH_HZ = 1.0 / (4.0 * fw.THRU_DELAY_S)
"""Where ideal reflects lie an eighth of a wavelength from the middle of the thru: LRRM sees the
same pair at both ports."""
NEAR_EIGHTH_HZ = EIGHTH_HZ * (1.0 + np.concatenate([-SMALL[::-1], [0.0], SMALL]))
LOW_HZ = np.geomspace(1e5, 1e9, 81)
BAND_HZ = np.linspace(1e9, 110e9, 61)


def near_the_eighth(at: fw.Station, frequency_hz: fw.Floats) -> CalibrationSolution:
    one = np.ones(len(frequency_hz), complex)
    devices = [fw.ideal_line(frequency_hz, fw.THRU_DELAY_S)]
    devices += [fw.pair(g, g) for g in (-one, one, 0 * one)]
    return solve_lrrm(
        frequency_hz,
        50.0,
        LrrmSweeps(*(fw.raw_sweep(at, device) for device in devices)),
        LrrmDefinitions(Thru(fw.THRU_DELAY_S), Short(), Open(), Load()),
        switch_terms=switch(at),
    )


def lines_alike(at: fw.Station, frequency_hz: fw.Floats) -> CalibrationSolution:
    """TRL without its bounds on the phase."""
    return solve_trl(
        frequency_hz,
        trl_sweeps(at, frequency_hz, 6),
        TrlDefinitions(LENGTHS_M, LINE_PERMITTIVITY, Short()),
        switch_terms=switch(at),
        least_phase_deg=0.0,
        largest_phase_deg=180.0,
    )


def close_reflects(frequency_hz: fw.Floats) -> fw.Array:
    """An open that meets the short as the frequency falls."""
    gammas = reflect_gammas(frequency_hz)
    gammas[1] = gammas[0] + SMALL
    return gammas


def close_solt(at: fw.Station, frequency_hz: fw.Floats) -> CalibrationSolution:
    ideal, thru = close_reflects(frequency_hz), unlike_thru(frequency_hz)
    return solve_solt(
        frequency_hz,
        50.0,
        Reflects(fw.raw_reflection(at.box_1, ideal), ideal),
        Reflects(fw.raw_reflection(turned(at.box_2), ideal), ideal),
        fw.raw_sweep(at, thru),
        thru,
    )


def close_solr(at: fw.Station, frequency_hz: fw.Floats) -> CalibrationSolution:
    ideal = close_reflects(frequency_hz)
    return solve_solr(
        frequency_hz,
        50.0,
        Reflects(fw.raw_reflection(at.box_1, ideal), ideal),
        Reflects(fw.raw_reflection(turned(at.box_2), ideal), ideal),
        fw.raw_sweep(at, unlike_thru(frequency_hz)),
        2.1e-12,
        switch_terms=switch(at),
    )


def faint_reflect(at: fw.Station, frequency_hz: fw.Floats) -> CalibrationSolution:
    """LRM whose reflect vanishes as the frequency falls, with ideal matches and a flush thru."""
    none = np.zeros(len(frequency_hz), complex)
    faint: fw.Array = -SMALL.astype(np.complex128)
    devices = [fw.ideal_line(frequency_hz, 0.0), fw.pair(faint, faint), fw.pair(none, none)]
    return solve_lrm(
        frequency_hz,
        50.0,
        LrmSweeps(*(fw.raw_sweep(at, device) for device in devices)),
        LrmDefinitions(Thru(0.0), Short(), Load(), Load()),
        switch_terms=switch(at),
    )


HARD: dict[str, tuple[Solve, fw.Floats]] = {
    "LRRM near the eighth wavelength": (near_the_eighth, NEAR_EIGHTH_HZ),
    "TRL at low frequencies": (lines_alike, LOW_HZ),
    "multiline TRL at low frequencies": (multiline_trl, LOW_HZ),
    "SOLT with reflects that meet": (close_solt, BAND_HZ),
    "SOLR with reflects that meet": (close_solr, BAND_HZ),
    "LRM with a reflect that vanishes": (faint_reflect, BAND_HZ),
}


@pytest.mark.parametrize(("solve", "frequency_hz"), HARD.values(), ids=HARD.keys())
@pytest.mark.parametrize("seed", [0, 1, 2])
def test_truth_up_to_the_limit_and_nothing_beyond(
    solve: Solve, frequency_hz: fw.Floats, seed: int
) -> None:
    at = fw.station(seed, frequency_hz)
    solution = solve(at, frequency_hz)
    known = solution.determined
    assert known.tolist() == (solution.condition <= WIDEST_CONDITION).tolist()
    hard = known & (solution.condition > 0.1 * WIDEST_CONDITION)
    assert hard.sum() >= 5 and (~known).sum() >= 5 and (known & ~hard).sum() >= 5
    devices = fw.passive_devices(5, 10, len(frequency_hz))
    corrected = correct(solution.terms, fw.raw_sweep(at, devices))
    assert np.abs(corrected - devices)[:, known].max() <= 1e-10
    for row in term_rows(solution.terms):
        assert np.isnan(row.values).tolist() == (~known).tolist()
