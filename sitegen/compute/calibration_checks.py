"""The checks that a calibration record can be held to, each judged where it gives a bound."""

import numpy as np

from sitegen.compute.rf.checks import open_against_short, repeatability
from sitegen.compute.rf.definitions import reflection
from sitegen.compute.rf.solution import CalibrationSolution, Port
from sitegen.compute.standards import at_port, reflect_standard
from sitegen.model import calibration as records
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.event_results import Check, Term
from sitegen.model.loaded import LoadedCalibration
from sitegen.units import frequency, number


def checks_of(loaded: LoadedCalibration, solution: CalibrationSolution | None) -> tuple[Check, ...]:
    """Every check that the record\'s sweeps and the solution allow."""
    checks = [*_repeat_checks(loaded), *_reflect_checks(loaded), *_load_checks(loaded)]
    if solution is not None:
        checks += _solution_checks(loaded, solution)
    return tuple(checks)


def _check(
    name: str, figure: float | None, unit: str, lower: float | None, upper: float | None, text: str
) -> Check:
    """Judge a figure against its bounds; without a figure or a bound it is shown only."""
    if figure is not None and not np.isfinite(figure):
        figure = None
    judged = figure is not None and (lower is not None or upper is not None)
    passed = None
    if judged and figure is not None:
        passed = (lower is None or figure >= lower) and (upper is None or figure <= upper)
    return Check(name, figure, unit, lower, upper, passed, text)


def _repeat_checks(loaded: LoadedCalibration) -> list[Check]:
    checks = []
    for standard in loaded.standards:
        if not standard.repeats:
            continue
        sweeps = np.array([one.s for one in (standard.sweep, *standard.repeats)])
        n = len(sweeps)
        found = [
            repeatability(sweeps[:, :, i, j], loaded.frequency_hz)
            for i in range(sweeps.shape[2])
            for j in range(sweeps.shape[3])
        ]
        worst = max(found, key=lambda one: one.largest_difference)
        checks.append(
            _check(
                f"repeatability, {standard.contact.file}",
                worst.largest_difference,
                "1",
                None,
                loaded.record.bounds.repeatability,
                f"{n} raw sweeps without lifting; greatest |ΔS| at"
                f" {frequency(worst.largest_at_hz)}, pooled standard deviation"
                f" {number(worst.pooled, 2)}.",
            )
        )
    return checks


def _reflect_checks(loaded: LoadedCalibration) -> list[Check]:
    """Raw open against raw short at each port: exchanged standards show here."""
    checks = []
    record = loaded.record
    ports: tuple[Port, Port] = (1, 2)
    for port in ports:
        raw: dict[str, ComplexArray] = {}
        ideal: dict[str, ComplexArray] = {}
        for standard in loaded.standards:
            name = standard.contact.port_1 if port == 1 else standard.contact.port_2
            definition = record.definitions.get(name or "")
            if isinstance(definition, records.ShortDefinition | records.OpenDefinition):
                raw[definition.kind] = at_port(standard.sweep.s, port)
                ideal[definition.kind] = reflection(
                    reflect_standard(definition),
                    loaded.frequency_hz,
                    record.reference_impedance_ohm,
                )
        if set(raw) != {"short", "open"}:
            continue
        found = open_against_short(
            raw["open"], raw["short"], ideal["open"], ideal["short"], loaded.frequency_hz
        )
        told = {
            True: "They look exchanged.",
            False: "Open and short are what they are said to be.",
            None: "Whether they are exchanged cannot be told from these sweeps.",
        }[found.exchanged]
        checks.append(
            Check(
                f"open against short, port {port}",
                found.largest_distance,
                "1",
                None,
                None,
                None,
                f"Greatest distance of the raw ratio from −1, at {frequency(found.largest_at_hz)};"
                f" mismatch not yet corrected is part of it. {told}",
            )
        )
    return checks


def _load_checks(loaded: LoadedCalibration) -> list[Check]:
    """The day's load resistance at each port against the definition contacted there; contacts."""
    record = loaded.record
    checks = []
    for port, measured in (
        (1, record.substrate.load_resistance_port_1_ohm),
        (2, record.substrate.load_resistance_port_2_ohm),
    ):
        declared = _load_at(loaded, port)
        if measured is None or declared is None:
            continue
        bound = record.bounds.load_resistance_difference_ohm
        used = port == 1 or record.method != "LRRM" or _load_at(loaded, 1) is None
        told = "the measured one is used" if used else "this port's load is not used by LRRM"
        checks.append(
            _check(
                f"load resistance, port {port}",
                measured - declared.resistance_ohm,
                "Ω",
                None if bound is None else -bound,
                bound,
                f"Measured {measured:g} Ω through the probe that day, declared"
                f" {declared.resistance_ohm:g} Ω; {told}.",
            )
        )
    checks.append(
        _check(
            "contacts of this set of standards",
            float(record.substrate.contacts),
            "1",
            None,
            float(record.substrate.contacts_max),
            f"Set {record.substrate.standard_set} on substrate {record.substrate.serial_number}.",
        )
    )
    return checks


def _load_at(loaded: LoadedCalibration, port: int) -> records.LoadDefinition | None:
    """The definition of the load that a sweep contacts at a port."""
    for standard in loaded.standards:
        name = standard.contact.port_1 if port == 1 else standard.contact.port_2
        definition = loaded.record.definitions.get(name or "")
        if isinstance(definition, records.LoadDefinition):
            return definition
    return None


def _solution_checks(loaded: LoadedCalibration, solution: CalibrationSolution) -> list[Check]:
    bounds = loaded.record.bounds
    checks = []
    if solution.fitted_load_inductance_h is not None:
        checks.append(
            _check(
                "fitted load inductance",
                solution.fitted_load_inductance_h,
                "H",
                None
                if bounds.load_inductance_min_ph is None
                else bounds.load_inductance_min_ph * 1e-12,
                None
                if bounds.load_inductance_max_ph is None
                else bounds.load_inductance_max_ph * 1e-12,
                f"Load at port {solution.fitted_load_inductance_port}; a negative inductance is"
                " the sign of a capacitive load.",
            )
        )
    if solution.solved_reflects is not None:
        distance = np.abs(np.abs(solution.solved_reflects.short) - 1.0)
        checks.append(
            _check(
                "magnitude of the solved short",
                float(np.nanmax(distance)) if np.isfinite(distance).any() else None,
                "1",
                None,
                bounds.reflect_magnitude_difference,
                "Greatest | |Γ| − 1 | of the reflect that was not assumed to be lossless.",
            )
        )
    for port in solution.residuals:
        checks.append(
            _check(
                f"residual of redundant standards, port {port.port}",
                float(np.nanmax(np.abs(port.values))),
                "1",
                None,
                bounds.residual,
                "Greatest distance of a corrected standard from its definition.",
            )
        )
    share = float(np.mean(solution.determined))
    checks.append(
        Check(
            "frequencies determined",
            share,
            "1",
            None,
            None,
            None,
            f"{int(solution.determined.sum())} of {len(solution.determined)} frequencies;"
            f" redundancy {solution.redundancy} {solution.redundancy_of}.",
        )
    )
    return checks


def reported_terms(loaded: LoadedCalibration, terms: tuple[Term, ...]) -> tuple[Term, ...]:
    """The instrument's own terms that have the name or symbol of a solved one."""
    if loaded.reported_terms is None:
        return ()
    given = {name.casefold(): values for name, values in loaded.reported_terms.items()}
    return tuple(
        Term(term.name, term.symbol, values)
        for term in terms
        for values in [given.get(term.symbol.casefold(), given.get(term.name.casefold()))]
        if values is not None
    )


def reported_check(
    record: records.CalibrationRecord,
    terms: tuple[Term, ...],
    reported: tuple[Term, ...],
    frequency_hz: FloatArray,
) -> tuple[Check, ...]:
    """The greatest difference of the instrument's terms from the solved ones, where reported."""
    if not reported:
        return ()
    solved = {term.symbol: term.values for term in terms}
    worst = (0.0, "", 0.0)
    for term in reported:
        distance = np.abs(term.values - solved[term.symbol])
        if np.isfinite(distance).any():
            place = int(np.nanargmax(distance))
            worst = max(worst, (float(distance[place]), term.name, float(frequency_hz[place])))
    return (
        _check(
            "difference from the terms that the instrument reported",
            worst[0],
            "1",
            None,
            record.bounds.reported_terms_difference,
            f"Greatest |difference| over {len(reported)} terms: {worst[1]} at"
            f" {frequency(worst[2])}."
            if worst[1]
            else "The reported terms agree exactly.",
        ),
    )
