"""One calibration event: its raw sweeps solved again, and its own checks judged."""

from dataclasses import dataclass
from datetime import timedelta
from typing import TypeVar

import numpy as np

from sitegen.compute.evidence import reference_time
from sitegen.compute.rf.checks import open_against_short, repeatability
from sitegen.compute.rf.definitions import (
    Load,
    Offset,
    Open,
    ReflectStandard,
    Short,
    Thru,
    reflection,
    transmission,
)
from sitegen.compute.rf.lrrm import LrrmDefinitions, LrrmSweeps, SwitchTerms, solve_lrrm
from sitegen.compute.rf.one_port import Reflects, solve_one_port
from sitegen.compute.rf.solt import solve_solt
from sitegen.compute.rf.solution import CalibrationNotSolvable, CalibrationSolution, Port
from sitegen.compute.rf.terms import ErrorTerms, term_rows
from sitegen.model import calibration as records
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.campaign import Instrument
from sitegen.model.loaded import LoadedCalibration, LoadedStandard
from sitegen.model.results import CalibrationResult, Check, Term
from sitegen.problems import Fault
from sitegen.units import frequency

GHZ = 1e9
D = TypeVar("D", records.ShortDefinition, records.OpenDefinition)


@dataclass(frozen=True)
class SolvedCalibration:
    """A calibration's result, and the error terms that correct sweeps with it."""

    result: CalibrationResult
    terms: ErrorTerms | None
    faults: tuple[Fault, ...]


def solve(loaded: LoadedCalibration, instrument: Instrument) -> SolvedCalibration:
    """Solve a calibration from its raw sweeps and judge its own checks.

    What keeps it from being solved is a fault of the record; what its checks show is not.
    """
    record = loaded.record
    solution: CalibrationSolution | None = None
    unsolved = "; ".join(loaded.missing)
    faults: tuple[Fault, ...] = ()
    if not unsolved:
        try:
            solution = _solution(loaded)
        except CalibrationNotSolvable as reason:
            unsolved = str(reason)
            faults = (_not_solvable(record, unsolved),)
    frequency_hz = loaded.frequency_hz
    checks = _checks(loaded, solution) if frequency_hz.size else ()
    terms = (
        ()
        if solution is None
        else tuple(Term(row.name, row.symbol, row.values) for row in term_rows(solution.terms))
    )
    reported = _reported(loaded, terms)
    if solution is not None:
        checks += _reported_check(record, terms, reported, frequency_hz)
    failed = any(check.passed is False for check in checks)
    made_at = reference_time(record.at, instrument)
    result = CalibrationResult(
        record=record,
        frequency_hz=frequency_hz,
        terms=terms,
        reported=reported,
        checks=checks,
        notes=() if solution is None else solution.notes,
        unsolved=unsolved,
        outcome="not solved" if solution is None else "checks failed" if failed else "usable",
        made_at=made_at,
        expires_at=made_at + timedelta(hours=record.validity.hours),
    )
    return SolvedCalibration(result, None if solution is None else solution.terms, faults)


def reflect_standard(
    definition: records.ShortDefinition | records.OpenDefinition | records.LoadDefinition,
) -> ReflectStandard:
    """A record's definition in SI units."""
    offset = Offset(
        definition.offset.delay_ps * 1e-12,
        definition.offset.z0_ohm,
        definition.offset.loss_gohm_per_s * GHZ,
    )
    match definition:
        case records.ShortDefinition():
            return Short(_coefficients(definition.inductance_ph, 1e-12), offset)
        case records.OpenDefinition():
            return Open(_coefficients(definition.capacitance_ff, 1e-15), offset)
        case records.LoadDefinition():
            return Load(
                definition.resistance_ohm,
                definition.inductance_ph * 1e-12,
                definition.capacitance_ff * 1e-15,
                offset,
            )


def _coefficients(given: tuple[float, ...], unit: float) -> tuple[float, ...]:
    """From powers of GHz to powers of Hz."""
    return tuple(value * unit / GHZ**power for power, value in enumerate(given))


def _thru(definition: records.ThruDefinition) -> Thru:
    return Thru(definition.delay_ps * 1e-12, definition.z0_ohm, definition.loss_gohm_per_s * GHZ)


def _solution(loaded: LoadedCalibration) -> CalibrationSolution:
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


def _reflects(loaded: LoadedCalibration, port: Port) -> Reflects:
    """The port's standards with what their definitions promise; a load takes the day's value."""
    record = loaded.record
    raw, ideal = [], []
    for standard in loaded.standards:
        name = standard.contact.port_1 if port == 1 else standard.contact.port_2
        if name is None:
            continue
        definition = record.definitions[name]
        if isinstance(definition, records.ThruDefinition):
            raise CalibrationNotSolvable(
                f"{standard.contact.file} is said to contact {name} at port {port}, which is a thru"
            )
        raw.append(_at_port(standard.sweep.s, port))
        ideal.append(
            reflection(
                reflect_standard(_of_the_day(definition, record, port)),
                loaded.frequency_hz,
                record.reference_impedance_ohm,
            )
        )
    if not raw:
        raise CalibrationNotSolvable(f"no sweep contacts a standard at port {port}")
    return Reflects(np.array(raw), np.array(ideal))


def _of_the_day(
    definition: records.ShortDefinition | records.OpenDefinition | records.LoadDefinition,
    record: records.CalibrationRecord,
    port: Port,
) -> records.ShortDefinition | records.OpenDefinition | records.LoadDefinition:
    """A load with the resistance measured through the probe that day, where one was taken."""
    substrate = record.substrate
    measured = (
        substrate.load_resistance_port_1_ohm if port == 1 else substrate.load_resistance_port_2_ohm
    )
    if isinstance(definition, records.LoadDefinition) and measured is not None:
        return definition.model_copy(update={"resistance_ohm": measured})
    return definition


def _at_port(s: ComplexArray, port: Port) -> ComplexArray:
    """Reflection at a port, shape (n_freq,); a one-port sweep has just the one."""
    place = 0 if s.shape[-1] == 1 else port - 1
    return s[:, place, place]


def _thru_sweep(loaded: LoadedCalibration) -> tuple[LoadedStandard, Thru]:
    for standard in loaded.standards:
        if standard.contact.between is not None:
            definition = loaded.record.definitions[standard.contact.between]
            if isinstance(definition, records.ThruDefinition):
                return standard, _thru(definition)
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
                of_the_day = _of_the_day(definition, record, port)
                assert isinstance(of_the_day, records.LoadDefinition)
                return standard, of_the_day, port
    raise CalibrationNotSolvable("no sweep contacts a load at port 1 or port 2")


def _not_solvable(record: records.CalibrationRecord, reason: str) -> Fault:
    return Fault(
        file=f"calibrations/{record.id}/record.toml",
        place="sweeps and definitions",
        found=f"a {record.method} calibration that cannot be solved: {reason}",
        expected="the sweeps and definitions that its method needs",
        remedy="Complete or correct the record; until then its values show 'not solved'.",
    )


def _checks(loaded: LoadedCalibration, solution: CalibrationSolution | None) -> tuple[Check, ...]:
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
                f" {worst.pooled:.2g}.",
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
                raw[definition.kind] = _at_port(standard.sweep.s, port)
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
                None if found.exchanged is None else not found.exchanged,
                f"Greatest distance of the raw ratio from −1, at {frequency(found.largest_at_hz)};"
                f" mismatch not yet corrected is part of it. {told}",
            )
        )
    return checks


def _load_checks(loaded: LoadedCalibration) -> list[Check]:
    record = loaded.record
    declared = next(
        (one for one in record.definitions.values() if isinstance(one, records.LoadDefinition)),
        None,
    )
    if declared is None:
        return []
    checks = []
    for port, measured in (
        (1, record.substrate.load_resistance_port_1_ohm),
        (2, record.substrate.load_resistance_port_2_ohm),
    ):
        if measured is None:
            continue
        bound = record.bounds.load_resistance_difference_ohm
        checks.append(
            _check(
                f"load resistance, port {port}",
                measured - declared.resistance_ohm,
                "Ω",
                None if bound is None else -bound,
                bound,
                f"Measured {measured:g} Ω through the probe that day, declared"
                f" {declared.resistance_ohm:g} Ω; the measured one is used.",
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


def _reported(loaded: LoadedCalibration, terms: tuple[Term, ...]) -> tuple[Term, ...]:
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


def _reported_check(
    record: records.CalibrationRecord,
    terms: tuple[Term, ...],
    reported: tuple[Term, ...],
    frequency_hz: FloatArray,
) -> tuple[Check, ...]:
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
