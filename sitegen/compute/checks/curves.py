"""Solved quantities over frequency, with what they are held against."""

from collections.abc import Iterator

import numpy as np

from sitegen.compute.checks.before_solving import raw_open_against_short
from sitegen.compute.checks.judge import phase_deg
from sitegen.compute.checks.solved import (
    SolvedReflect,
    phase_against_definition,
    residuals_named,
    solved_reflects,
    unused_load,
)
from sitegen.compute.contacts import PORTS
from sitegen.compute.rf.solution import CalibrationSolution, SolvedLine
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.event_results import Curve
from sitegen.model.loaded import LoadedCalibration


def curves_of(loaded: LoadedCalibration, solution: CalibrationSolution) -> Iterator[Curve]:
    """Reflects, the load's fit, thru, line, residuals, and the raw open against the raw short."""
    bounds = loaded.record.bounds
    for reflect in solved_reflects(loaded, solution):
        yield from _reflect(reflect, bounds.reflect_magnitude_difference)
    if solution.fitted_load is not None:
        remainder = solution.fitted_load.remainder
        yield _curve(
            "remainder of the load's fit",
            "1",
            remainder,
            "Magnitude of the open less its defined one, which entered as known: what the fit of"
            " the load leaves over.",
            lower=None if bounds.fit_remainder is None else -bounds.fit_remainder,
            upper=bounds.fit_remainder,
            expected=np.zeros(len(remainder)),
        )
    yield from _thru(loaded, solution)
    if solution.solved_line is not None:
        yield from _line(loaded, solution, solution.solved_line)
    yield from _residuals(loaded, solution)
    for port in PORTS:
        raw = raw_open_against_short(loaded, port)
        if raw is not None:
            yield _curve(
                f"raw open against raw short, port {port}",
                "1",
                np.abs(raw.ratio + 1.0),
                "Distance of the raw ratio from −1, after the phase of their definitions; mismatch"
                " not yet corrected is part of it.",
                upper=bounds.open_short_distance,
            )


def _reflect(reflect: SolvedReflect, difference: float | None) -> Iterator[Curve]:
    expected = reflect.expected
    if not reflect.assumed:
        yield _curve(
            f"magnitude of the solved {reflect.word}",
            "1",
            np.abs(reflect.gamma),
            "The reflect that was not assumed to be lossless; a passive one has at most 1.",
            lower=None if difference is None else 1.0 - difference,
            upper=None if difference is None else 1.0 + difference,
            expected=None if expected is None else np.abs(expected),
        )
    if expected is None:
        yield _curve(
            f"phase of the solved {reflect.word}",
            "deg",
            phase_deg(reflect.gamma),
            "Of the reflect at the probe tips; its definition says only what it resembles.",
        )
        return
    defined = phase_deg(expected)
    with np.errstate(all="ignore"):
        off = np.degrees(np.angle(reflect.gamma / expected))
    yield _curve(
        f"phase of the solved {reflect.word}",
        "deg",
        defined + off,
        "Of the reflect at the probe tips, with the phase that its definition promises.",
        expected=defined,
    )


def _thru(loaded: LoadedCalibration, solution: CalibrationSolution) -> Iterator[Curve]:
    phase = phase_against_definition(loaded, solution)
    if phase is None or solution.solved_thru is None:
        return
    yield _curve(
        "phase of the solved thru",
        "deg",
        phase.found_deg,
        "Known but for 180°: the branch nearer to the defined delay is taken.",
        expected=phase.defined_deg,
    )
    yield _curve(
        "magnitude of the solved thru",
        "dB",
        _db(solution.solved_thru[:, 1, 0]),
        "Transmission of the unknown thru.",
    )


def _line(
    loaded: LoadedCalibration, solution: CalibrationSolution, line: SolvedLine
) -> Iterator[Curve]:
    record, known = loaded.record, solution.determined
    bounds, medium = record.bounds, record.line_medium
    one_line = record.method == "TRL"
    yield _curve(
        "phase of the line against the thru",
        "deg",
        line.phase_difference_deg,
        "Modulo 180°; near 0° or 180° line and thru say the same, and nothing is determined."
        if one_line
        else "Modulo 180°, of the pair of lines nearest to 90°.",
        lower=bounds.line_phase_min_deg if one_line else None,
        upper=bounds.line_phase_max_deg if one_line else None,
    )
    declared = None if medium is None else medium.effective_permittivity
    yield _curve(
        "effective permittivity",
        "1",
        np.where(known, line.effective_permittivity.real, np.nan),
        "Real part, from the solved propagation constant; the declared one chose between two"
        " roots only.",
        u=line.u_effective_permittivity,
        lower=bounds.effective_permittivity_min,
        upper=bounds.effective_permittivity_max,
        expected=None if declared is None else np.full(len(line.propagation_per_m), declared),
    )
    u = line.u_attenuation_db_per_m
    yield _curve(
        "attenuation",
        "dB/mm",
        np.where(known, 1e-3 * line.attenuation_db_per_m, np.nan),
        "Of the line, from the solved propagation constant.",
        u=None if u is None else 1e-3 * u,
        upper=bounds.attenuation_max_db_per_mm,
    )
    z_c = line.characteristic_impedance_ohm
    if z_c is not None:
        yield _curve(
            "characteristic impedance of the line",
            "Ω",
            np.where(known, z_c.real, np.nan),
            "Real part, from the propagation constant and the declared capacitance per length: the"
            " impedance in which the solution stood until it was moved.",
        )


def _residuals(loaded: LoadedCalibration, solution: CalibrationSolution) -> Iterator[Curve]:
    bound = loaded.record.bounds.residual
    for port in solution.residuals:
        for name, values in zip(residuals_named(loaded, port), port.values, strict=True):
            yield _curve(
                f"residual of {name}, port {port.port}",
                "1",
                np.abs(values),
                "Distance of the corrected standard from its definition.",
                upper=bound,
            )
    unused = unused_load(loaded, solution)
    if unused is not None:
        yield _curve(
            f"residual of the load not used, port {unused.port}",
            "1",
            np.abs(unused.found - unused.defined),
            "Distance of the corrected load, which took no part in the solution, from its"
            " definition.",
            upper=bound,
        )


def _curve(
    name: str,
    unit: str,
    values: FloatArray,
    text: str,
    *,
    u: FloatArray | None = None,
    lower: float | None = None,
    upper: float | None = None,
    expected: FloatArray | None = None,
) -> Curve:
    def level(bound: float | None) -> FloatArray | None:
        return None if bound is None else np.full(len(values), bound)

    return Curve(name, unit, values, u, level(lower), level(upper), expected, text)


def _db(values: ComplexArray) -> FloatArray:
    with np.errstate(divide="ignore"):
        level: FloatArray = 20.0 * np.log10(np.abs(values))
    return level
