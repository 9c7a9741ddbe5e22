"""Any method: from a calibration record with its raw sweeps to error terms."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from sitegen.compute.contacts import (
    PORTS,
    UNKNOWN_REFLECTS,
    Contact,
    Pair,
    ReflectKind,
    contacts_at,
    files_of,
    lines_of,
    load_at,
    pair_of,
    thru_of,
    two_port_raw,
)
from sitegen.compute.rf.definitions import Load, Open, ReflectStandard, Short, reflection
from sitegen.compute.rf.definitions import transmission as thru_parameters
from sitegen.compute.rf.eight_term import SwitchTerms
from sitegen.compute.rf.load_fit import MatchFit
from sitegen.compute.rf.lrm import LrmDefinitions, LrmSweeps, solve_lrm
from sitegen.compute.rf.lrrm import LrrmDefinitions, LrrmSweeps, solve_lrrm
from sitegen.compute.rf.multiline_trl import solve_multiline_trl
from sitegen.compute.rf.one_port import Reflects, solve_one_port
from sitegen.compute.rf.reference_impedance import (
    at_real_impedance,
    line_impedance,
    reflection_at_real_impedance,
)
from sitegen.compute.rf.solr import solve_solr
from sitegen.compute.rf.solt import solve_solt
from sitegen.compute.rf.solution import (
    CalibrationNotSolvable,
    CalibrationSolution,
    FittedLoad,
    Port,
)
from sitegen.compute.rf.terms import TwoPortTerms
from sitegen.compute.rf.trl import IMPEDANCE_NOTE, TrlDefinitions, TrlSweeps, solve_trl
from sitegen.compute.rf.unequal_reflects import solve_with_unequal
from sitegen.compute.standard_weights import weights_of
from sitegen.compute.standards import KnownReflect, standard_at, thru_standard
from sitegen.model import calibration as records
from sitegen.model.arrays import ComplexArray
from sitegen.model.loaded import LoadedCalibration

FITS: Mapping[str, MatchFit] = {
    "none": "none",
    "inductance": "l",
    "inductance and capacitance": "lc",
}
"""What LRRM finds of its load, by the record's `load_fit`."""
_Found = tuple[CalibrationSolution, frozenset[str]]
"""A solution with the names of the sweeps that it rests on."""


def solution_of(
    loaded: LoadedCalibration, held: CalibrationSolution | None = None
) -> CalibrationSolution:
    """Solve a record's raw sweeps by its method.

    The result depends on `loaded` alone (and on `held`): its definitions, sweeps and switch
    terms, whatever else is known of the calibration. Sweeps are found by what they contact, in
    any order; one that the method has no use for is named in a note.

    Args:
        loaded: a whole record; nothing is missing.
        held: what was found of an LRRM load is held as in this solution instead of found anew,
            so that a change at one frequency moves the terms at that frequency only.

    Returns:
        Terms in the record's reference impedance; TRL's are moved there from their line's.

    Raises:
        CalibrationNotSolvable: the sweeps and definitions cannot give error terms.
    """
    match loaded.record.method:
        case "one-port":
            solution, used = _one_port(loaded)
        case "SOLT":
            solution, used = _solt(loaded)
        case "SOLR":
            solution, used = _solr(loaded)
        case "LRM":
            solution, used = _lrm(loaded)
        case "LRRM":
            solution, used = _lrrm(loaded, held)
        case "TRL" | "multiline TRL":
            solution, used = _trl(loaded)
    return replace(solution, notes=solution.notes + _idle(loaded, used))


def _idle(loaded: LoadedCalibration, used: frozenset[str]) -> tuple[str, ...]:
    """What the record has and its method does not need."""
    method = loaded.record.method
    idle = [one.contact.file for one in loaded.standards if one.contact.file not in used]
    notes = [f"{method} has no use for the sweep {name}" for name in idle]
    if loaded.switch_forward is not None and method in ("one-port", "SOLT"):
        notes.append(f"{method} does not need the switch terms: its own terms contain them")
    return tuple(notes)


def _one_port(loaded: LoadedCalibration) -> _Found:
    port: Port = 1 if loaded.record.ports[0] == 1 else 2
    reflects, used = _reflects(loaded, port)
    z_ref_ohm = loaded.record.reference_impedance_ohm
    return solve_one_port(loaded.frequency_hz, z_ref_ohm, reflects, port=port), used


def _solt(loaded: LoadedCalibration) -> _Found:
    frequency_hz, z_ref_ohm = loaded.frequency_hz, loaded.record.reference_impedance_ohm
    thru, definition = thru_of(loaded)
    (one, used_1), (other, used_2) = (_reflects(loaded, port) for port in PORTS)
    ideal = thru_parameters(thru_standard(definition), frequency_hz, z_ref_ohm)
    solution = solve_solt(frequency_hz, z_ref_ohm, one, other, thru.sweep.s, ideal)
    return solution, used_1 | used_2 | files_of([thru])


def _solr(loaded: LoadedCalibration) -> _Found:
    thru, definition = thru_of(loaded)
    (one, used_1), (other, used_2) = (_reflects(loaded, port) for port in PORTS)
    solution = solve_solr(
        loaded.frequency_hz,
        loaded.record.reference_impedance_ohm,
        one,
        other,
        thru.sweep.s,
        thru_standard(definition).delay_s,
        switch_terms=_switch(loaded),
    )
    return solution, used_1 | used_2 | files_of([thru])


def _reflects(loaded: LoadedCalibration, port: Port) -> tuple[Reflects, frozenset[str]]:
    """The port's standards with what their definitions promise; a load takes the day's value."""
    contacts = contacts_at(loaded, port)
    for one in contacts:
        if not isinstance(loaded.record.definitions[one.name], KnownReflect):
            raise CalibrationNotSolvable(
                f"{one.standard.contact.file} is said to contact {one.name} at port {port}, which"
                " is no known reflect"
            )
    if not contacts:
        raise CalibrationNotSolvable(f"no sweep contacts a standard at port {port}")
    raw = np.array([one.raw for one in contacts])
    ideal = np.array([_gamma(loaded, one) for one in contacts])
    return Reflects(raw, ideal, weights_of(loaded, contacts)), files_of(
        one.standard for one in contacts
    )


def _lrrm(loaded: LoadedCalibration, held: CalibrationSolution | None) -> _Found:
    thru, thru_definition = thru_of(loaded)
    short, open_ = _pair(loaded, records.ShortDefinition), _pair(loaded, records.OpenDefinition)
    match = load_at(loaded, 1) or load_at(loaded, 2)
    if match is None:
        raise CalibrationNotSolvable("no sweep contacts a load at port 1 or port 2")
    a_short, an_open, a_load = (
        _standard(loaded, one) for one in (short.port_1, open_.port_1, match)
    )
    assert isinstance(a_short, Short) and isinstance(an_open, Open) and isinstance(a_load, Load)
    fit = FITS[loaded.record.load_fit]
    if held is not None and held.fitted_load is not None:
        fit, a_load = "none", _as_fitted(a_load, held.fitted_load)
    definitions = LrrmDefinitions(thru_standard(thru_definition), a_short, an_open, a_load)

    def solve(reflects: tuple[ComplexArray, ...]) -> CalibrationSolution:
        return solve_lrrm(
            loaded.frequency_hz,
            loaded.record.reference_impedance_ohm,
            LrrmSweeps(thru.sweep.s, reflects[0], reflects[1], two_port_raw(match)),
            definitions,
            fit=fit,
            match_port=match.port,
            switch_terms=_switch(loaded),
        )

    ratios = _ratio(loaded, short), _ratio(loaded, open_)
    solution = solve_with_unequal(solve, (short.raw, open_.raw), ratios)
    if solution.fitted_load is not None and not np.isfinite(solution.fitted_load.inductance_h):
        raise CalibrationNotSolvable(
            "the open does not tell the load's inductance at these frequencies; declare it and set"
            ' load_fit to "none"'
        )
    return solution, short.files | open_.files | files_of([thru, match.standard])


def _as_fitted(load: Load, fitted: FittedLoad) -> Load:
    """The load as it was found."""
    capacitance_f = load.capacitance_f if fitted.capacitance_f is None else fitted.capacitance_f
    return replace(load, inductance_h=fitted.inductance_h, capacitance_f=capacitance_f)


def _lrm(loaded: LoadedCalibration) -> _Found:
    thru, thru_definition = thru_of(loaded)
    reflect = _pair(loaded, *UNKNOWN_REFLECTS)
    matches = _pair(loaded, records.LoadDefinition)
    definitions = LrmDefinitions(
        thru_standard(thru_definition),
        _standard(loaded, reflect.port_1),
        _standard(loaded, matches.port_1),
        _standard(loaded, matches.port_2),
    )

    def solve(reflects: tuple[ComplexArray, ...]) -> CalibrationSolution:
        return solve_lrm(
            loaded.frequency_hz,
            loaded.record.reference_impedance_ohm,
            LrmSweeps(thru.sweep.s, reflects[0], matches.raw),
            definitions,
            switch_terms=_switch(loaded),
        )

    solution = solve_with_unequal(solve, (reflect.raw,), (_ratio(loaded, reflect),))
    return solution, reflect.files | matches.files | files_of([thru])


def _trl(loaded: LoadedCalibration) -> _Found:
    record, lines = loaded.record, lines_of(loaded)
    medium = record.line_medium
    if medium is None or not lines:
        raise CalibrationNotSolvable("TRL needs lines between the ports and their line_medium")
    reflect = _pair(loaded, *UNKNOWN_REFLECTS)
    raw_lines = np.array([one.sweep.s for one, _ in lines])
    definitions = TrlDefinitions(
        tuple(definition.length_um * 1e-6 for _, definition in lines),
        medium.effective_permittivity,
        _standard(loaded, reflect.port_1),
    )

    def solve(reflects: tuple[ComplexArray, ...]) -> CalibrationSolution:
        sweeps, switch = TrlSweeps(raw_lines, reflects[0]), _switch(loaded)
        if record.method == "multiline TRL":
            found = solve_multiline_trl(
                loaded.frequency_hz, sweeps, definitions, switch_terms=switch
            )
        else:
            found = solve_trl(
                loaded.frequency_hz,
                sweeps,
                definitions,
                switch_terms=switch,
                least_phase_deg=record.bounds.line_phase_min_deg,
                largest_phase_deg=record.bounds.line_phase_max_deg,
            )
        return _moved(found, medium, record.reference_impedance_ohm)

    solution = solve_with_unequal(solve, (reflect.raw,), (_ratio(loaded, reflect),))
    return solution, reflect.files | files_of(one for one, _ in lines)


def _moved(
    solution: CalibrationSolution, medium: records.LineMedium, z_ref_ohm: float
) -> CalibrationSolution:
    """TRL's solution moved from the line's impedance to the declared one."""
    line, terms = solution.solved_line, solution.terms
    assert line is not None and isinstance(terms, TwoPortTerms)
    per_m = medium.capacitance_pf_per_m * 1e-12
    z_c = line_impedance(terms.frequency_hz, line.propagation_per_m, per_m)
    reflect = solution.solved_reflect
    assert reflect is not None
    told = (
        f"moved from the line's impedance γ/(jωC), with C = {medium.capacitance_pf_per_m:g} pF/m"
        f" ({medium.source}), to {z_ref_ohm:g} Ω: pseudo-waves, which are power waves there"
    )
    return replace(
        solution,
        terms=at_real_impedance(terms, z_c, z_ref_ohm),
        determined=solution.determined & np.isfinite(z_c),
        solved_reflect=reflection_at_real_impedance(reflect, z_c, z_ref_ohm),
        solved_line=replace(line, characteristic_impedance_ohm=z_c),
        notes=tuple(told if note == IMPEDANCE_NOTE else note for note in solution.notes),
    )


def _pair(loaded: LoadedCalibration, *kinds: ReflectKind) -> Pair:
    """The standard of the first of these kinds that was contacted at both ports."""
    found = pair_of(loaded, *kinds)
    if found is None:
        words = " or ".join(_word(kind) for kind in kinds)
        raise CalibrationNotSolvable(f"no {words} was contacted at both ports")
    return found


def _word(kind: ReflectKind) -> str:
    return kind.__name__.removesuffix("Definition").lower()


def _standard(loaded: LoadedCalibration, contact: Contact) -> ReflectStandard:
    return standard_at(loaded.record, contact.name, contact.port)


def _gamma(loaded: LoadedCalibration, contact: Contact) -> ComplexArray:
    return reflection(
        _standard(loaded, contact), loaded.frequency_hz, loaded.record.reference_impedance_ohm
    )


def _ratio(loaded: LoadedCalibration, pair: Pair) -> ComplexArray | None:
    """Of the two ports' defined reflections, port 2's over port 1's; None where they agree."""
    if _standard(loaded, pair.port_1) == _standard(loaded, pair.port_2):
        return None
    return _gamma(loaded, pair.port_2) / _gamma(loaded, pair.port_1)


def _switch(loaded: LoadedCalibration) -> SwitchTerms | None:
    if loaded.switch_forward is None or loaded.switch_reverse is None:
        return None
    return SwitchTerms(loaded.switch_forward, loaded.switch_reverse)
