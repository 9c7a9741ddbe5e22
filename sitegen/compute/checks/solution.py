"""Checks of what was solved beside the error terms, and of what the equations left over."""

from collections.abc import Iterator

import numpy as np

from sitegen.compute.checks.judge import greatest, judged, stretches
from sitegen.compute.checks.solved import (
    phase_against_definition,
    residuals_named,
    solved_reflects,
    unused_load,
)
from sitegen.compute.rf.checks import largest_singular_value
from sitegen.compute.rf.solution import CalibrationSolution, FittedLoad, SolvedLine
from sitegen.model.arrays import FloatArray
from sitegen.model.event_results import Check, CheckGroup
from sitegen.model.loaded import LoadedCalibration
from sitegen.units import count, frequency, number

GROUP: CheckGroup = "solution"
_PER_PH, _PER_FF, _MM = 1e-12, 1e-15, 1e-3


def checks_of_solution(loaded: LoadedCalibration, solution: CalibrationSolution) -> Iterator[Check]:
    """Fitted load, solved reflects, thru and line, residuals, and where it is determined."""
    if solution.fitted_load is not None:
        yield from _fitted_load(loaded, solution, solution.fitted_load)
    yield from _reflects(loaded, solution)
    yield from _thru(loaded, solution)
    if solution.solved_line is not None:
        yield from _line(loaded, solution, solution.solved_line)
    yield from _residuals(loaded, solution)
    yield _determined(loaded, solution)


def _fitted_load(
    loaded: LoadedCalibration, solution: CalibrationSolution, fitted: FittedLoad
) -> Iterator[Check]:
    bounds, frequency_hz = loaded.record.bounds, loaded.frequency_hz
    at_port = f"Load at port {solution.fitted_load_inductance_port}"
    yield judged(
        GROUP,
        "fitted load inductance",
        fitted.inductance_h,
        f"{at_port}; a negative inductance is the sign of a capacitive load.",
        unit="H",
        lower=_scaled(bounds.load_inductance_min_ph, _PER_PH),
        upper=_scaled(bounds.load_inductance_max_ph, _PER_PH),
        u=fitted.u_inductance_h,
    )
    if fitted.capacitance_f is not None:
        yield judged(
            GROUP,
            "fitted load capacitance",
            fitted.capacitance_f,
            f"{at_port}, in parallel with its resistance and inductance.",
            unit="F",
            lower=_scaled(bounds.load_capacitance_min_ff, _PER_FF),
            upper=_scaled(bounds.load_capacitance_max_ff, _PER_FF),
            u=fitted.u_capacitance_f,
        )
    worst = greatest(np.abs(fitted.remainder), frequency_hz)
    if worst is not None:
        rms = float(np.sqrt(np.nanmean(fitted.remainder**2)))
        yield judged(
            GROUP,
            "remainder of the load's fit",
            worst[0],
            "The open's magnitude enters as known: what is left of | |Γ| − defined | is no"
            f" finding about the open, but what the fit leaves over. Greatest at"
            f" {frequency(worst[1])}; root mean square {number(rms, 2)}.",
            upper=bounds.fit_remainder,
        )


def _reflects(loaded: LoadedCalibration, solution: CalibrationSolution) -> Iterator[Check]:
    for reflect in solved_reflects(loaded, solution):
        if reflect.assumed:
            continue
        worst = greatest(np.abs(np.abs(reflect.gamma) - 1.0), loaded.frequency_hz)
        most = greatest(np.abs(reflect.gamma), loaded.frequency_hz)
        text = "Determined at no frequency."
        if worst is not None and most is not None:
            text = (
                "Greatest | |Γ| − 1 | of the reflect that was not assumed to be lossless, at"
                f" {frequency(worst[1])}; |Γ| is at most {number(most[0], 4)}, and a passive one"
                " has no more than 1."
            )
        yield judged(
            GROUP,
            f"magnitude of the solved {reflect.word}",
            None if worst is None else worst[0],
            text,
            upper=loaded.record.bounds.reflect_magnitude_difference,
        )


def _thru(loaded: LoadedCalibration, solution: CalibrationSolution) -> Iterator[Check]:
    """Of an unknown thru: its phase, whose branch of 180 degrees the definition chose."""
    phase = phase_against_definition(loaded, solution)
    if phase is None or solution.solved_thru is None:
        return
    off = greatest(np.abs(phase.found_deg - phase.defined_deg), loaded.frequency_hz)
    text = "Determined at no frequency."
    if off is not None:
        text = (
            f"Greatest difference from the defined delay, at {frequency(off[1])}. The solution"
            " gives the phase but for 180°: the branch nearer to the definition is taken, and is"
            f" {180.0 - off[0]:.3g}° nearer than the other at least."
        )
    yield judged(
        GROUP,
        "phase of the solved thru",
        None if off is None else off[0],
        text,
        unit="deg",
        upper=loaded.record.bounds.thru_phase_difference_deg,
    )
    most = greatest(largest_singular_value(solution.solved_thru), loaded.frequency_hz)
    if most is not None:
        yield judged(
            GROUP,
            "passivity of the solved thru",
            most[0] - 1.0,
            f"Greatest singular value less 1, at {frequency(most[1])}; a passive one has none"
            " above 1 but by noise.",
        )


def _line(
    loaded: LoadedCalibration, solution: CalibrationSolution, line: SolvedLine
) -> Iterator[Check]:
    bounds, known = loaded.record.bounds, solution.determined
    phase = line.phase_difference_deg[np.isfinite(line.phase_difference_deg) & known]
    if len(phase):
        several = loaded.record.method == "multiline TRL"
        yield judged(
            GROUP,
            "phase of the line against the thru",
            float(phase.min()),
            f"Modulo 180°, where the terms are determined: {phase.min():.3g}° to"
            f" {phase.max():.3g}°"
            + (
                ", of the pair of lines nearest to 90°."
                if several
                else f"; outside {bounds.line_phase_min_deg:g}° to {bounds.line_phase_max_deg:g}°"
                " they are not determined."
            ),
            unit="deg",
        )
    yield _of_line(
        loaded,
        "effective permittivity",
        np.where(known, line.effective_permittivity.real, np.nan),
        line.u_effective_permittivity,
        unit="1",
        lower=bounds.effective_permittivity_min,
        upper=bounds.effective_permittivity_max,
    )
    per_mm = np.where(known, _MM * line.attenuation_db_per_m, np.nan)
    u = line.u_attenuation_db_per_m
    yield _of_line(
        loaded,
        "attenuation",
        per_mm,
        None if u is None else _MM * u,
        unit="dB/mm",
        lower=None,
        upper=bounds.attenuation_max_db_per_mm,
    )


def _of_line(
    loaded: LoadedCalibration,
    name: str,
    values: FloatArray,
    u: FloatArray | None,
    *,
    unit: str,
    lower: float | None,
    upper: float | None,
) -> Check:
    """A line's quantity by its median, which a few badly conditioned frequencies do not move."""
    known = np.flatnonzero(np.isfinite(values))
    if not len(known):
        return judged(GROUP, name, None, "Determined at no frequency.", unit=unit)
    order = known[np.argsort(values[known])]
    middle = int(order[len(order) // 2])
    return judged(
        GROUP,
        name,
        float(values[middle]),
        f"Median over the frequencies, found at {frequency(float(loaded.frequency_hz[middle]))};"
        f" from {number(float(values[order[0]]))} to {number(float(values[order[-1]]))}.",
        unit=unit,
        lower=lower,
        upper=upper,
        u=None if u is None else float(u[middle]),
    )


def _residuals(loaded: LoadedCalibration, solution: CalibrationSolution) -> Iterator[Check]:
    """Only where something is redundant: without, residuals are zero whatever was measured."""
    bound = loaded.record.bounds.residual
    for port in solution.residuals:
        size = np.abs(port.values).max(axis=0)
        worst = greatest(size, loaded.frequency_hz)
        if worst is None:
            continue
        which = residuals_named(loaded, port)[int(np.nanargmax(np.nanmax(np.abs(port.values), 1)))]
        yield judged(
            GROUP,
            f"residual of redundant standards, port {port.port}",
            worst[0],
            f"Greatest distance of a corrected standard from its definition, at"
            f" {frequency(worst[1])}: {which}.",
            upper=bound,
        )
    unused = unused_load(loaded, solution)
    if unused is not None:
        worst = greatest(np.abs(unused.found - unused.defined), loaded.frequency_hz)
        if worst is not None:
            yield judged(
                GROUP,
                f"residual of the load not used, port {unused.port}",
                worst[0],
                f"Distance of the corrected load, which LRRM does not need, from its definition"
                f" with what was fitted at the other port; greatest at {frequency(worst[1])}.",
                upper=bound,
            )


def _determined(loaded: LoadedCalibration, solution: CalibrationSolution) -> Check:
    known = solution.determined
    text = f"{int(known.sum())} of {count(len(known), 'frequency', 'frequencies')}"
    if not known.all():
        text += f"; not determined: {stretches(loaded.frequency_hz, ~known)}"
    text += f"; redundancy {solution.redundancy} {solution.redundancy_of}."
    return judged(GROUP, "frequencies determined", float(np.mean(known)), text)


def _scaled(value: float | None, unit: float) -> float | None:
    return None if value is None else value * unit
