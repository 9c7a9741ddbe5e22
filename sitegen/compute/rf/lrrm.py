"""Line-reflect-reflect-match calibration with a fitted load inductance."""

import warnings
from dataclasses import replace

import numpy as np
from skrf import Frequency, Network
from skrf.calibration import LRRM

from sitegen.compute.rf.definitions import Load, reflection, transmission
from sitegen.compute.rf.eight_term import SWITCH_TERMS_NOTE as SWITCH_TERMS_NOTE
from sitegen.compute.rf.eight_term import Receivers, twelve_terms
from sitegen.compute.rf.eight_term import SwitchTerms as SwitchTerms
from sitegen.compute.rf.linear import LARGEST_CONDITION, least_squares
from sitegen.compute.rf.lrrm_direct import LrrmDefinitions as LrrmDefinitions
from sitegen.compute.rf.lrrm_direct import LrrmSweeps as LrrmSweeps
from sitegen.compute.rf.one_port import undetermined_note
from sitegen.compute.rf.solt import ISOLATION_NOTE
from sitegen.compute.rf.solution import (
    CalibrationNotSolvable,
    CalibrationSolution,
    Port,
    SolvedReflects,
)
from sitegen.compute.rf.terms import OnePortTerms, TwoPortTerms
from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray

_LEAST_TRANSMISSION = 1e-9
_LEAST_THRU_PHASE = 1e-9


def solve_lrrm(
    frequency_hz: FloatArray,
    z_ref_ohm: float,
    sweeps: LrrmSweeps,
    definitions: LrrmDefinitions,
    *,
    match_port: Port = 1,
    switch_terms: SwitchTerms | None = None,
    raw_isolation: ComplexArray | None = None,
    largest_condition: float = LARGEST_CONDITION,
) -> CalibrationSolution:
    """Twelve error terms from thru, short, open and a match at one port, by scikit-rf's LRRM.

    Purroy and Pradell, IEEE Trans. Instrum. Meas. 50 (2001) 1307; Zhao et al., Appl. Sci. 7
    (2017) 866. One inductance is fitted over all frequencies. A match at port 2 is solved
    with the ports' names exchanged.

    Returns:
        NaN terms and `determined` False where a sweep is NaN, the two reflects are too close,
        the thru lets nothing through or turns by a multiple of 180 degrees, or at 0 Hz.
        `redundancy` counts real equations: one |open| at each determined frequency for the
        one inductance.

    Raises:
        CalibrationNotSolvable: flush thru, a standard behind an offset, a match with a
            capacitance, shapes that disagree, or no determined frequency.
    """
    _require_solvable(definitions)
    _require_shapes(frequency_hz, sweeps, raw_isolation)
    n_freq = len(frequency_hz)
    isolation = np.zeros((n_freq, 2, 2), np.complex128) if raw_isolation is None else raw_isolation
    switch = switch_terms or SwitchTerms(*np.zeros((2, n_freq), np.complex128))
    if match_port == 2:
        sweeps, switch, isolation = _exchanged(sweeps, switch, isolation)
    ideal_thru = transmission(definitions.thru, frequency_hz, z_ref_ohm)
    condition = np.maximum(_condition(sweeps, 0), _condition(sweeps, 1))
    usable = (
        (condition <= largest_condition)
        & (frequency_hz > 0)
        & _passes(sweeps.thru - isolation, ideal_thru)
        & _finite(sweeps.match)
        & _finite(isolation)
        & np.isfinite(switch.forward)
        & np.isfinite(switch.reverse)
    )
    if not usable.any():
        raise CalibrationNotSolvable("no frequency has the sweeps that LRRM needs")
    run, warned = _run(frequency_hz, z_ref_ohm, sweeps, definitions, switch, isolation, usable)
    terms = _twelve_terms(frequency_hz, z_ref_ohm, run.coefs, Receivers(switch, isolation), usable)
    if match_port == 2:
        terms = replace(terms, forward=terms.reverse, reverse=terms.forward)
    determined = usable & np.isfinite(terms.forward.transmission_tracking)
    inductance_h = float(np.real(run.solved_l[0]))
    notes = warned + _notes(switch_terms, raw_isolation, inductance_h)
    return CalibrationSolution(
        method="LRRM",
        terms=terms,
        determined=determined,
        condition=condition,
        redundancy=int(determined.sum()) - 1,
        redundancy_of="real equations for the load inductance, one a frequency",
        residuals=(),
        notes=notes + undetermined_note(frequency_hz, determined),
        fitted_load_inductance_h=inductance_h,
        fitted_load_inductance_port=match_port,
        solved_reflects=SolvedReflects(
            short=_spread(run.solved_r1.s[:, 0, 0], usable),
            open=_spread(run.solved_r2.s[:, 0, 0], usable),
        ),
    )


def _require_solvable(definitions: LrrmDefinitions) -> None:
    if definitions.thru.delay_s == 0:
        raise CalibrationNotSolvable(
            "LRRM with a flush thru (delay 0 s) cannot be solved here: use a thru with its delay"
        )
    for name in ("short", "open", "match"):
        offset = getattr(definitions, name).offset
        if offset.delay_s != 0:
            raise CalibrationNotSolvable(
                f"LRRM with the {name} behind an offset of {offset.delay_s:g} s cannot be solved "
                "here: the reference plane must lie at the standards"
            )
    if definitions.match.capacitance_f != 0:
        raise CalibrationNotSolvable(
            f"LRRM fits the match as a resistance with an inductance, and a capacitance of "
            f"{definitions.match.capacitance_f:g} F was declared"
        )


def _require_shapes(
    frequency_hz: FloatArray, sweeps: LrrmSweeps, raw_isolation: ComplexArray | None
) -> None:
    expected = (len(frequency_hz), 2, 2)
    for name, sweep in {**vars(sweeps), "isolation": raw_isolation}.items():
        if sweep is not None and sweep.shape != expected:
            raise CalibrationNotSolvable(
                f"the raw {name} has shape {sweep.shape}, and {expected} is needed"
            )


def _condition(sweeps: LrrmSweeps, port: int) -> FloatArray:
    """How well the two raw reflects are told apart at a port, (n_freq,)."""
    reflects = np.stack([sweeps.short[:, port, port], sweeps.open[:, port, port]], axis=-1)
    _, condition = least_squares(np.stack([np.ones_like(reflects), reflects], -1), reflects)
    return condition


def _passes(thru: ComplexArray, ideal_thru: ComplexArray) -> BoolArray:
    """Where the thru transmits both ways and its defined delay can be told from none."""
    across = np.minimum(np.abs(thru[:, 0, 1]), np.abs(thru[:, 1, 0]))
    turned = np.abs(ideal_thru[:, 1, 0] ** 2 - 1.0) > _LEAST_THRU_PHASE
    passing: BoolArray = _finite(thru) & (across > _LEAST_TRANSMISSION) & turned
    return passing


def _finite(s: ComplexArray) -> BoolArray:
    """Where all four S-parameters are numbers, (n_freq,)."""
    finite: BoolArray = np.all(np.isfinite(s), axis=(1, 2))
    return finite


def _exchanged(
    sweeps: LrrmSweeps, switch: SwitchTerms, isolation: ComplexArray
) -> tuple[LrrmSweeps, SwitchTerms, ComplexArray]:
    """Everything as if port 1 were called port 2."""
    turned = {name: sweep[:, ::-1, ::-1] for name, sweep in vars(sweeps).items()}
    return (
        replace(sweeps, **turned),
        SwitchTerms(forward=switch.reverse, reverse=switch.forward),
        isolation[:, ::-1, ::-1],
    )


def _run(
    frequency_hz: FloatArray,
    z_ref_ohm: float,
    sweeps: LrrmSweeps,
    definitions: LrrmDefinitions,
    switch: SwitchTerms,
    isolation: ComplexArray,
    usable: BoolArray,
) -> tuple[LRRM, tuple[str, ...]]:
    """scikit-rf's solution at the usable frequencies, and the warnings it gave.

    The order thru, short, open, match is scikit-rf's requirement; another one fails there
    or, worse, does not. The match is handed over as a bare resistor: its closed-form start
    of the inductance assumes that, and with an inductance it starts at 0 H and, on narrow or
    low bands, stays there.
    """
    used_hz = frequency_hz[usable]
    frequency = Frequency.from_f(used_hz, unit="hz")

    def network(s: ComplexArray) -> Network:
        return Network(frequency=frequency, s=s, z0=z_ref_ohm)

    def both_ports(gamma: ComplexArray) -> Network:
        return network(gamma[:, np.newaxis, np.newaxis] * np.eye(2))

    resistor = Load(definitions.match.resistance_ohm)
    short, open_, match = (
        both_ports(reflection(standard, used_hz, z_ref_ohm))
        for standard in (definitions.short, definitions.open, resistor)
    )
    thru = network(transmission(definitions.thru, used_hz, z_ref_ohm))
    raw = [network(s[usable]) for s in (sweeps.thru, sweeps.short, sweeps.open, sweeps.match)]
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        run = LRRM(
            measured=raw,
            ideals=[thru, short, open_, match],
            switch_terms=(network(switch.forward[usable]), network(switch.reverse[usable])),
            isolation=network(isolation[usable]),
            z0=z_ref_ohm,
            match_fit="l",
        )
        try:
            run.run()
        except (ValueError, np.linalg.LinAlgError) as error:
            raise CalibrationNotSolvable(
                f"scikit-rf found no load inductance that fits the sweeps ({error})"
            ) from error
    messages = dict.fromkeys(f"scikit-rf warned: {entry.message}" for entry in caught)
    return run, tuple(messages)


def _twelve_terms(
    frequency_hz: FloatArray,
    z_ref_ohm: float,
    coefs: dict[str, ComplexArray],
    receivers: Receivers,
    usable: BoolArray,
) -> TwoPortTerms:
    """Twelve terms from scikit-rf's seven and the switch terms, on all frequencies."""
    port_1, port_2 = (
        OnePortTerms(
            frequency_hz,
            z_ref_ohm,
            *(
                _spread(coefs[f"{direction} {name}"], usable)
                for name in ("directivity", "source match", "reflection tracking")
            ),
        )
        for direction in ("forward", "reverse")
    )
    return twelve_terms(port_1, port_2, _spread(coefs["k"], usable), receivers)


def _spread(values: ComplexArray, usable: BoolArray) -> ComplexArray:
    """Values at the usable frequencies on all frequencies, NaN elsewhere."""
    spread = np.full(len(usable), complex(np.nan, np.nan))
    spread[usable] = values
    return spread


def _notes(
    switch_terms: SwitchTerms | None, raw_isolation: ComplexArray | None, inductance_h: float
) -> tuple[str, ...]:
    notes = []
    if switch_terms is None:
        notes.append(SWITCH_TERMS_NOTE)
    if raw_isolation is None:
        notes.append(ISOLATION_NOTE)
    if inductance_h < 0:
        notes.append("the fitted load inductance is negative: the load looks capacitive")
    return tuple(notes)
