"""What a calibration solved beside its error terms, each with what the record says of it."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from sitegen.compute.checks.judge import phase_deg
from sitegen.compute.contacts import (
    UNKNOWN_REFLECTS,
    Contact,
    contacts_at,
    load_at,
    pair_of,
    thru_of,
    two_port_raw,
)
from sitegen.compute.rf.correct import correct
from sitegen.compute.rf.definitions import Load, reflection, transmission
from sitegen.compute.rf.solution import (
    CalibrationNotSolvable,
    CalibrationSolution,
    Port,
    PortResidual,
)
from sitegen.compute.standards import of_the_day, reflect_standard, thru_standard
from sitegen.model import calibration as records
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.loaded import LoadedCalibration


@dataclass(frozen=True, eq=False)
class SolvedReflect:
    """A reflect that the solution found."""

    word: str
    """'short', 'open', 'reflect'."""
    gamma: ComplexArray
    """(n_freq,) at the tips."""
    expected: ComplexArray | None
    """By its definition; None where that says only what it resembles."""
    assumed: bool
    """Whether its magnitude entered as known."""


@dataclass(frozen=True, eq=False)
class ThruPhase:
    """Phase of a solved thru, without jumps, and of its definition, (n_freq,)."""

    found_deg: FloatArray
    defined_deg: FloatArray


@dataclass(frozen=True, eq=False)
class UnusedLoad:
    """A load that the solution did not need, corrected with it."""

    port: Port
    found: ComplexArray
    defined: ComplexArray


def solved_reflects(
    loaded: LoadedCalibration, solution: CalibrationSolution
) -> Iterator[SolvedReflect]:
    """Each unknown reflect. Both ports share it, or its definitions' ratio: there is one."""
    if solution.solved_reflects is not None:
        short = pair_of(loaded, records.ShortDefinition)
        open_ = pair_of(loaded, records.OpenDefinition)
        gammas = solution.solved_reflects
        if short is not None:
            yield SolvedReflect("short", gammas.short, _defined(loaded, short.port_1), False)
        if open_ is not None:
            yield SolvedReflect("open", gammas.open, _defined(loaded, open_.port_1), True)
    if solution.solved_reflect is not None:
        pair = pair_of(loaded, *UNKNOWN_REFLECTS)
        if pair is not None:
            definition = loaded.record.definitions[pair.port_1.name]
            only_near = isinstance(definition, records.ReflectDefinition)
            expected = None if only_near else _defined(loaded, pair.port_1)
            yield SolvedReflect("reflect", solution.solved_reflect, expected, False)


def phase_against_definition(
    loaded: LoadedCalibration, solution: CalibrationSolution
) -> ThruPhase | None:
    """Of an unknown thru: both without jumps, the found one within 180 degrees of the other."""
    if solution.solved_thru is None:
        return None
    try:
        _, definition = thru_of(loaded)
    except CalibrationNotSolvable:
        return None
    ideal = transmission(
        thru_standard(definition), loaded.frequency_hz, loaded.record.reference_impedance_ohm
    )[:, 1, 0]
    defined_deg = phase_deg(ideal)
    with np.errstate(all="ignore"):
        off_deg = np.degrees(np.angle(solution.solved_thru[:, 1, 0] / ideal))
    return ThruPhase(defined_deg + off_deg, defined_deg)


def unused_load(loaded: LoadedCalibration, solution: CalibrationSolution) -> UnusedLoad | None:
    """LRRM's load at the port that it did not need: what it says took no part in the solution.

    Where both ports name one definition, what was fitted of it holds for both.
    """
    used = solution.fitted_load_inductance_port or 1
    one, other = load_at(loaded, used), load_at(loaded, 2 if used == 1 else 1)
    if solution.method != "LRRM" or one is None or other is None:
        return None
    definition = loaded.record.definitions[other.name]
    assert isinstance(definition, records.LoadDefinition)
    load = reflect_standard(of_the_day(definition, loaded.record, other.port))
    assert isinstance(load, Load)
    fitted = solution.fitted_load
    if fitted is not None:
        if one.name != other.name:
            return None
        load = replace(load, inductance_h=fitted.inductance_h)
        if fitted.capacitance_f is not None:
            load = replace(load, capacitance_f=fitted.capacitance_f)
    place = other.port - 1
    found = correct(solution.terms, two_port_raw(other))[:, place, place]
    z_ref_ohm = loaded.record.reference_impedance_ohm
    return UnusedLoad(other.port, found, reflection(load, loaded.frequency_hz, z_ref_ohm))


def residuals_named(loaded: LoadedCalibration, residual: PortResidual) -> tuple[str, ...]:
    """The standard behind each residual of a port."""
    names = [one.name for one in contacts_at(loaded, residual.port)]
    return tuple(names[: len(residual.values)])


def _defined(loaded: LoadedCalibration, contact: Contact) -> ComplexArray | None:
    definition = loaded.record.definitions[contact.name]
    if not isinstance(definition, records.ShortDefinition | records.OpenDefinition):
        return None
    return reflection(
        reflect_standard(definition), loaded.frequency_hz, loaded.record.reference_impedance_ohm
    )
