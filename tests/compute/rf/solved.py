"""Every calibration method solved from sweeps of the simulated station, ready to be tested."""

from collections.abc import Callable

import numpy as np

from sitegen.compute.rf.definitions import Load, Offset, Open, Short, Thru
from sitegen.compute.rf.eight_term import SwitchTerms
from sitegen.compute.rf.load_fit import MatchFit
from sitegen.compute.rf.lrm import LrmDefinitions, LrmSweeps, solve_lrm
from sitegen.compute.rf.lrrm import LrrmDefinitions, LrrmSweeps, solve_lrrm
from sitegen.compute.rf.multiline_trl import solve_multiline_trl
from sitegen.compute.rf.one_port import Reflects
from sitegen.compute.rf.solr import solve_solr
from sitegen.compute.rf.solt import solve_solt
from sitegen.compute.rf.solution import CalibrationSolution, Port
from sitegen.compute.rf.trl import TrlDefinitions, TrlSweeps, solve_trl
from tests.compute.rf import forward as fw

SHORT_H, OPEN_F, LOAD_H = 3e-12, -6e-15, 4.5e-12
DEFINITIONS = LrrmDefinitions(
    Thru(fw.THRU_DELAY_S), Short(SHORT_H), Open(OPEN_F), Load(50.0, LOAD_H)
)
WIDEST_CONDITION = 1e4
"""Up to this condition number the laws demand exact recovery."""
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


def switch(at: fw.Station) -> SwitchTerms:
    return SwitchTerms(at.switch_forward, at.switch_reverse)


def solr(at: fw.Station, frequency_hz: fw.Floats) -> CalibrationSolution:
    ideal = reflect_gammas(frequency_hz)
    return solve_solr(
        frequency_hz,
        fw.Z_REF_OHM,
        Reflects(fw.raw_reflection(at.box_1, ideal), ideal),
        Reflects(fw.raw_reflection(turned(at.box_2), ideal), ideal),
        fw.raw_sweep(at, unlike_thru(frequency_hz)),
        2.1e-12,
        switch_terms=switch(at),
        raw_isolation=at.leak,
    )


def lrm(at: fw.Station, frequency_hz: fw.Floats, thru_delay_s: float = 0.0) -> CalibrationSolution:
    """Two matches that differ, a short that is lossy and only roughly known."""
    short = 0.9 * fw.short_gamma(frequency_hz, SHORT_H)
    matches = [fw.load_gamma(frequency_hz, 50.0, LOAD_H), fw.load_gamma(frequency_hz, 51.0, 2e-12)]
    devices = [fw.ideal_line(frequency_hz, thru_delay_s), fw.pair(short, short), fw.pair(*matches)]
    return solve_lrm(
        frequency_hz,
        fw.Z_REF_OHM,
        LrmSweeps(*(fw.raw_sweep(at, device) for device in devices)),
        LrmDefinitions(Thru(thru_delay_s), Short(), Load(50.0, LOAD_H), Load(51.0, 2e-12)),
        switch_terms=switch(at),
        raw_isolation=at.leak,
    )


def lrm_long_thru(at: fw.Station, frequency_hz: fw.Floats) -> CalibrationSolution:
    return lrm(at, frequency_hz, fw.THRU_DELAY_S)


def shifted(gamma: fw.Array, frequency_hz: fw.Floats, offset_s: float) -> fw.Array:
    """A reflection behind a line of the reference impedance."""
    moved: fw.Array = gamma * np.exp(-4j * np.pi * frequency_hz * offset_s)
    return moved


def arranged_lrrm(
    at: fw.Station,
    frequency_hz: fw.Floats,
    *,
    fit: MatchFit | None = None,
    match_port: Port = 1,
    thru_delay_s: float = fw.THRU_DELAY_S,
    offset_s: float = 0.0,
    short_loss: float = 1.0,
    load_shunt_f: float = 0.0,
    noise: float = 0.0,
    seed: int = 0,
) -> CalibrationSolution:
    """Any arrangement; without `fit` the inductance is found, at a single frequency nothing."""
    chosen: MatchFit = fit or ("l" if len(frequency_hz) > 1 else "none")
    short = shifted(short_loss * fw.short_gamma(frequency_hz, SHORT_H), frequency_hz, offset_s)
    open_ = shifted(fw.open_gamma(frequency_hz, OPEN_F), frequency_hz, offset_s)
    load = fw.load_gamma(frequency_hz, 50.0, LOAD_H, load_shunt_f)
    match = fw.pair(shifted(load, frequency_hz, offset_s), np.full_like(load, 0.3))
    devices = [
        fw.ideal_line(frequency_hz, thru_delay_s),
        fw.pair(short, short),
        fw.pair(open_, open_),
        match if match_port == 1 else turned(match),
    ]
    rng = np.random.default_rng(seed)
    raw = [fw.raw_sweep(at, device) for device in devices]
    if noise:
        raw = [s + noise * (rng.normal(size=s.shape) + 1j * rng.normal(size=s.shape)) for s in raw]
    offset = Offset(offset_s)
    known = (LOAD_H, load_shunt_f) if chosen == "none" else (0.0, 0.0)
    return solve_lrrm(
        frequency_hz,
        fw.Z_REF_OHM,
        LrrmSweeps(*raw),
        LrrmDefinitions(
            Thru(thru_delay_s),
            Short(SHORT_H, offset),
            Open(OPEN_F, offset),
            Load(50.0, *known, offset),
        ),
        fit=chosen,
        match_port=match_port,
        switch_terms=switch(at),
        raw_isolation=at.leak,
    )


def lrrm_flush_at_port_2(at: fw.Station, frequency_hz: fw.Floats) -> CalibrationSolution:
    return arranged_lrrm(at, frequency_hz, match_port=2, thru_delay_s=0.0)


def lrrm_behind_offsets(at: fw.Station, frequency_hz: fw.Floats) -> CalibrationSolution:
    return arranged_lrrm(at, frequency_hz, thru_delay_s=0.0, offset_s=fw.THRU_DELAY_S / 2)


LENGTHS_M = (200e-6, 450e-6, 900e-6, 1.8e-3, 3.5e-3, 5.25e-3)
LINE_PERMITTIVITY = 5.2


def line_propagation(frequency_hz: fw.Floats) -> fw.Array:
    """100 dB/m at 110 GHz, as the root of frequency, on an effective permittivity of 5.2."""
    loss = 11.5 * np.sqrt(frequency_hz / 110e9)
    phase = 2j * np.pi * frequency_hz * np.sqrt(LINE_PERMITTIVITY) / fw.SPEED_OF_LIGHT_M_PER_S
    propagation: fw.Array = loss + phase
    return propagation


def trl_sweeps(
    at: fw.Station, frequency_hz: fw.Floats, n_line: int, z_c_ohm: float | fw.Array = fw.Z_REF_OHM
) -> TrlSweeps:
    propagation = line_propagation(frequency_hz)
    short = 0.95 * fw.short_gamma(frequency_hz, SHORT_H)
    lines = [fw.line_s(frequency_hz, propagation * m, z_c_ohm) for m in LENGTHS_M[:n_line]]
    return TrlSweeps(
        np.array([fw.raw_sweep(at, line) for line in lines]),
        fw.raw_sweep(at, fw.pair(short, short)),
    )


def trl(at: fw.Station, frequency_hz: fw.Floats, n_line: int = 6) -> CalibrationSolution:
    """The permittivity is declared 4 % too large, the reflect as an ideal short."""
    return solve_trl(
        frequency_hz,
        trl_sweeps(at, frequency_hz, n_line),
        TrlDefinitions(LENGTHS_M[:n_line], 1.04 * LINE_PERMITTIVITY, Short()),
        switch_terms=switch(at),
        raw_isolation=at.leak,
    )


def multiline_trl(at: fw.Station, frequency_hz: fw.Floats, n_line: int = 6) -> CalibrationSolution:
    return solve_multiline_trl(
        frequency_hz,
        trl_sweeps(at, frequency_hz, n_line),
        TrlDefinitions(LENGTHS_M[:n_line], 1.04 * LINE_PERMITTIVITY, Short()),
        switch_terms=switch(at),
        raw_isolation=at.leak,
    )


TWO_PORT: dict[str, Solve] = {
    "SOLT": solt,
    "SOLT, five reflects": solt_five_reflects,
    "LRRM": arranged_lrrm,
    "LRRM, flush thru, match at port 2": lrrm_flush_at_port_2,
    "LRRM, standards behind offsets": lrrm_behind_offsets,
    "SOLR": solr,
    "LRM, flush thru": lrm,
    "LRM, long thru": lrm_long_thru,
    "TRL, the best of six lines": trl,
    "multiline TRL": multiline_trl,
}
