"""Every calibration method solved from sweeps of the simulated station, ready to be tested."""

from collections.abc import Callable

import numpy as np

from sitegen.compute.rf.definitions import Load, Open, Short, Thru
from sitegen.compute.rf.lrrm import LrrmDefinitions, LrrmSweeps, SwitchTerms, solve_lrrm
from sitegen.compute.rf.one_port import Reflects
from sitegen.compute.rf.solt import solve_solt
from sitegen.compute.rf.solution import CalibrationSolution, Port
from tests.compute.rf import forward as fw

SHORT_H, OPEN_F, LOAD_H = 3e-12, -6e-15, 4.5e-12
DEFINITIONS = LrrmDefinitions(
    Thru(fw.THRU_DELAY_S), Short(SHORT_H), Open(OPEN_F), Load(50.0, LOAD_H)
)
Solve = Callable[[fw.Station, fw.Floats], CalibrationSolution]


def reflect_gammas(frequency_hz: fw.Floats, extra: bool = False) -> fw.Array:
    """Short, open and load, and behind them two more reflects when wanted."""
    known = [
        fw.short_gamma(frequency_hz, SHORT_H),
        fw.open_gamma(frequency_hz, OPEN_F),
        fw.load_gamma(frequency_hz, 50.0, LOAD_H),
    ]
    if extra:
        known.append(0.7 * np.exp(-2j * np.pi * frequency_hz * 3e-12 + 1j))
        known.append(fw.load_gamma(frequency_hz, 25.0, 2e-12))
    return np.stack(known)


def turned(s: fw.Array) -> fw.Array:
    """The same with the ports' names exchanged."""
    return s[..., ::-1, ::-1]


def unlike_thru(frequency_hz: fw.Floats) -> fw.Array:
    """A known thru that is neither matched nor symmetrical: lines of 42 and 60 ohm."""
    gamma_l = 2j * np.pi * frequency_hz * 1e-12
    return fw.cascade(
        fw.line_s(frequency_hz, gamma_l, 42.0), fw.line_s(frequency_hz, gamma_l, 60.0)
    )


def solt(at: fw.Station, frequency_hz: fw.Floats, extra: bool = False) -> CalibrationSolution:
    ideal = reflect_gammas(frequency_hz, extra)
    thru = unlike_thru(frequency_hz)
    return solve_solt(
        frequency_hz,
        fw.Z_REF_OHM,
        Reflects(fw.raw_reflection(at.box_1, ideal), ideal),
        Reflects(fw.raw_reflection(turned(at.box_2), ideal), ideal),
        fw.raw_sweep(at, thru),
        thru,
        raw_isolation=at.leak,
    )


def solt_five_reflects(at: fw.Station, frequency_hz: fw.Floats) -> CalibrationSolution:
    return solt(at, frequency_hz, extra=True)


def lrrm(
    at: fw.Station,
    frequency_hz: fw.Floats,
    *,
    match_port: Port = 1,
    definitions: LrrmDefinitions = DEFINITIONS,
    load_ohm: float = 50.0,
    load_shunt_f: float = 0.0,
    open_magnitude: float = 1.0,
    short_loss: float = 1.0,
    with_switch_terms: bool = True,
    thru: fw.Array | None = None,
) -> CalibrationSolution:
    short = short_loss * fw.short_gamma(frequency_hz, SHORT_H)
    open_ = open_magnitude * fw.open_gamma(frequency_hz, OPEN_F)
    load = fw.load_gamma(frequency_hz, load_ohm, LOAD_H, load_shunt_f)
    matched_line = fw.ideal_line(frequency_hz, fw.THRU_DELAY_S)
    left_alone = np.full_like(load, 0.3)
    match = fw.pair(load, left_alone)
    sweeps = LrrmSweeps(
        thru=fw.raw_sweep(at, matched_line if thru is None else thru),
        short=fw.raw_sweep(at, fw.pair(short, short)),
        open=fw.raw_sweep(at, fw.pair(open_, open_)),
        match=fw.raw_sweep(at, match if match_port == 1 else turned(match)),
    )
    return solve_lrrm(
        frequency_hz,
        fw.Z_REF_OHM,
        sweeps,
        definitions,
        match_port=match_port,
        switch_terms=SwitchTerms(at.switch_forward, at.switch_reverse)
        if with_switch_terms
        else None,
        raw_isolation=at.leak,
    )


def lrrm_match_at_port_2(at: fw.Station, frequency_hz: fw.Floats) -> CalibrationSolution:
    return lrrm(at, frequency_hz, match_port=2)


TWO_PORT: dict[str, Solve] = {
    "SOLT": solt,
    "SOLT, five reflects": solt_five_reflects,
    "LRRM": lrrm,
    "LRRM, match at port 2": lrrm_match_at_port_2,
}
