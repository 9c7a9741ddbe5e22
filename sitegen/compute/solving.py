"""Any method: from a calibration record with its raw sweeps to error terms."""

from typing import TypeVar

import numpy as np

from sitegen.compute.rf.definitions import (
    Load,
    Open,
    Short,
    Thru,
    reflection,
    transmission,
)
from sitegen.compute.rf.lrrm import LrrmDefinitions, LrrmSweeps, SwitchTerms, solve_lrrm
from sitegen.compute.rf.one_port import Reflects, solve_one_port
from sitegen.compute.rf.solt import solve_solt
from sitegen.compute.rf.solution import CalibrationNotSolvable, CalibrationSolution, Port
from sitegen.compute.standards import at_port, of_the_day, reflect_standard, thru_standard
from sitegen.model import calibration as records
from sitegen.model.loaded import LoadedCalibration, LoadedStandard

D = TypeVar("D", records.ShortDefinition, records.OpenDefinition)


def solution_of(
    loaded: LoadedCalibration, held: CalibrationSolution | None = None
) -> CalibrationSolution:
    """Solve a record's raw sweeps by its method.

    Args:
        loaded: a whole record; nothing is missing.
        held: what was found of an LRRM load is held as in this solution instead of found anew,
            so that a change at one frequency moves the terms at that frequency only.

    Raises:
        CalibrationNotSolvable: the sweeps and definitions cannot give error terms.
    """
    record = loaded.record
    match record.method:
        case "one-port":
            port: Port = 1 if record.ports[0] == 1 else 2
            return solve_one_port(
                loaded.frequency_hz,
                record.reference_impedance_ohm,
                _reflects(loaded, port),
                port=port,
            )
        case "SOLT":
            thru, definition = _thru_sweep(loaded)
            return solve_solt(
                loaded.frequency_hz,
                record.reference_impedance_ohm,
                _reflects(loaded, 1),
                _reflects(loaded, 2),
                thru.sweep.s,
                transmission(definition, loaded.frequency_hz, record.reference_impedance_ohm),
            )
        case "LRRM":
            return _lrrm(loaded)
        case _:
            raise CalibrationNotSolvable(f"{record.method} is not solved yet")


def _reflects(loaded: LoadedCalibration, port: Port) -> Reflects:
    """The port's standards with what their definitions promise; a load takes the day's value."""
    record = loaded.record
    raw, ideal = [], []
    for standard in loaded.standards:
        name = standard.contact.port_1 if port == 1 else standard.contact.port_2
        if name is None:
            continue
        definition = record.definitions[name]
        if not isinstance(
            definition, records.ShortDefinition | records.OpenDefinition | records.LoadDefinition
        ):
            raise CalibrationNotSolvable(
                f"{standard.contact.file} is said to contact {name} at port {port}, which is no known"
                " reflect"
            )
        raw.append(at_port(standard.sweep.s, port))
        ideal.append(
            reflection(
                reflect_standard(of_the_day(definition, record, port)),
                loaded.frequency_hz,
                record.reference_impedance_ohm,
            )
        )
    if not raw:
        raise CalibrationNotSolvable(f"no sweep contacts a standard at port {port}")
    return Reflects(np.array(raw), np.array(ideal))


def _thru_sweep(loaded: LoadedCalibration) -> tuple[LoadedStandard, Thru]:
    for standard in loaded.standards:
        if standard.contact.between is not None:
            definition = loaded.record.definitions[standard.contact.between]
            if isinstance(definition, records.ThruDefinition):
                return standard, thru_standard(definition)
    raise CalibrationNotSolvable("no sweep connects the ports through a thru")


def _lrrm(loaded: LoadedCalibration) -> CalibrationSolution:
    record = loaded.record
    thru, thru_definition = _thru_sweep(loaded)
    short, short_definition = _of_kind(loaded, records.ShortDefinition)
    open_, open_definition = _of_kind(loaded, records.OpenDefinition)
    match, match_definition, port = _match(loaded)
    switch = None
    if loaded.switch_forward is not None and loaded.switch_reverse is not None:
        switch = SwitchTerms(loaded.switch_forward, loaded.switch_reverse)
    as_standards = [
        reflect_standard(one) for one in (short_definition, open_definition, match_definition)
    ]
    a_short, an_open, a_load = as_standards
    assert isinstance(a_short, Short) and isinstance(an_open, Open) and isinstance(a_load, Load)
    return solve_lrrm(
        loaded.frequency_hz,
        record.reference_impedance_ohm,
        LrrmSweeps(thru.sweep.s, short.sweep.s, open_.sweep.s, match.sweep.s),
        LrrmDefinitions(thru_definition, a_short, an_open, a_load),
        match_port=port,
        switch_terms=switch,
    )


def _of_kind(loaded: LoadedCalibration, kind: type[D]) -> tuple[LoadedStandard, D]:
    """The sweep that contacts this kind of reflect at both ports."""
    for standard in loaded.standards:
        names = (standard.contact.port_1, standard.contact.port_2)
        definitions = [loaded.record.definitions.get(name or "") for name in names]
        if all(isinstance(one, kind) for one in definitions):
            found = definitions[0]
            assert isinstance(found, kind)
            return standard, found
    word = "short" if kind is records.ShortDefinition else "open"
    raise CalibrationNotSolvable(f"no sweep contacts a {word} at both ports")


def _match(loaded: LoadedCalibration) -> tuple[LoadedStandard, records.LoadDefinition, Port]:
    """The sweep that contacts a load, at port 1 where it has the choice."""
    record = loaded.record
    ports: tuple[Port, Port] = (1, 2)
    for port in ports:
        for standard in loaded.standards:
            name = standard.contact.port_1 if port == 1 else standard.contact.port_2
            definition = record.definitions.get(name or "")
            if isinstance(definition, records.LoadDefinition):
                load = of_the_day(definition, record, port)
                assert isinstance(load, records.LoadDefinition)
                return standard, load, port
    raise CalibrationNotSolvable("no sweep contacts a load at port 1 or port 2")
