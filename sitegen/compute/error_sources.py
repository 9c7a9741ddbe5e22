"""What a calibration's definitions and raw sweeps can be off by: the inventory of its sources."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from sitegen.compute.rf.correct import correct, uncorrect
from sitegen.compute.rf.terms import ErrorTerms, OnePortTerms, TwoPortTerms
from sitegen.model import calibration as records
from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.event_results import SourceGroup
from sitegen.model.loaded import LoadedCalibration, LoadedStandard

Record = records.CalibrationRecord
Known = records.ShortDefinition | records.OpenDefinition | records.LoadDefinition
MODES = ("reflection at port 1", "reflection at port 2", "transmission")
"""What a contact changes at the tips."""
_UNITS = {"ps": "ps", "ph": "pH", "ff": "fF", "um": "µm", "ohm": "Ω", "gohm_per_s": "GΩ/s"}


@dataclass(frozen=True, eq=False)
class RecordError:
    """Something that the record declares with a standard uncertainty."""

    group: SourceGroup
    name: str
    """For example 'resistance of load'."""
    size: str
    """Its standard uncertainty as text."""
    moved: Callable[[Record, float], Record]
    """The record as it would be if this were off by so many standard uncertainties."""


@dataclass(frozen=True)
class Entry:
    """One raw S-parameter of one sweep of standards."""

    sweep: int
    row: int
    column: int
    name: str
    """For example 'S11 of open'."""


def record_errors(record: Record) -> tuple[RecordError, ...]:
    """Every definition in use with a stated uncertainty, and the lines' capacitance.

    Ports that name one definition share its error: the definition is moved as a whole.
    """
    found: list[RecordError] = []
    for name, definition in record.definitions.items():
        if name in _in_use(record):
            found += _definition_errors(name, definition)
    medium = record.line_medium
    if medium is not None and medium.capacitance_u_pf_per_m and "TRL" in record.method:
        size = f"{medium.capacitance_u_pf_per_m:g} pF/m"
        found.append(RecordError("line impedance", "capacitance per length", size, _of_medium))
    return tuple(found)


def entries(loaded: LoadedCalibration) -> tuple[Entry, ...]:
    """The raw S-parameters that a calibration can rest on.

    Reflections of contacted standards, and all four of a thru or a line. The transmissions of
    two reflects enter through switch terms only, as the product of two that are nearly zero.
    """
    return tuple(
        Entry(at, i, j, f"S{i + 1}{j + 1} of {name_of(standard)}")
        for at, standard in enumerate(loaded.standards)
        for i, j in _entries_of(loaded.record, standard)
    )


def modes_of(record: Record, standard: LoadedStandard) -> tuple[int, ...]:
    """Which of `MODES` a sweep's contacts have: of a thru or a line all three."""
    if standard.contact.between is not None:
        return (0, 1, 2)
    return tuple(port - 1 for port in _ports(record, standard))


def touched(
    terms: ErrorTerms, record: Record, standard: LoadedStandard, change: ComplexArray
) -> ComplexArray:
    """The raw sweep that a contact off by `change` would have given, in the sweep's shape.

    Args:
        change: (3,) as `MODES`: added to the reflections at the tips, and to the transmissions
            as a share of them, the same both ways and over frequency.

    Returns:
        The sweep as it is where the terms are not determined.
    """
    raw = standard.sweep.s
    less = np.zeros_like(raw)
    if standard.contact.between is not None:
        assert isinstance(terms, TwoPortTerms)
        true = correct(terms, raw)
        moved = true.copy()
        moved[:, 0, 0] += change[0]
        moved[:, 1, 1] += change[1]
        moved[:, (0, 1), (1, 0)] *= 1.0 + change[2]
        less = uncorrect(terms, moved) - uncorrect(terms, true)
    else:
        for port in _ports(record, standard):
            p = 0 if raw.shape[-1] == 1 else port - 1
            one = terms_at_port(terms, port)
            gamma = correct(one, raw[:, p, p])
            less[:, p, p] = uncorrect(one, gamma + change[port - 1]) - uncorrect(one, gamma)
    return raw + np.where(np.isfinite(less), less, 0.0)


def terms_at_port(terms: ErrorTerms, port: int) -> OnePortTerms:
    """What corrects a reflection at one port with nothing behind it."""
    if isinstance(terms, OnePortTerms):
        return terms
    driven = terms.forward if port == 1 else terms.reverse
    return OnePortTerms(
        terms.frequency_hz,
        terms.z_ref_ohm,
        driven.directivity,
        driven.source_match,
        driven.reflection_tracking,
    )


def passes(n_port: int, port: int) -> FloatArray:
    """How often each S-parameter passes a port's path, (n_port, n_port): a reflection twice."""
    if n_port == 1:
        return np.full((1, 1), 2.0)
    at: FloatArray = np.where(np.arange(2) == port - 1, 1.0, 0.0)
    return at[:, np.newaxis] + at


def paths_of(record: Record, standard: LoadedStandard) -> tuple[int, ...]:
    """The ports whose paths a sweep goes through."""
    return (1, 2) if standard.contact.between is not None else _ports(record, standard)


def name_of(standard: LoadedStandard) -> str:
    """What a sweep contacts, by its definitions' names."""
    contact = standard.contact
    if contact.between is not None:
        return contact.between
    names = [name for name in (contact.port_1, contact.port_2) if name is not None]
    return " and ".join(dict.fromkeys(names))


def _ports(record: Record, standard: LoadedStandard) -> tuple[int, ...]:
    """The calibrated ports at which a sweep contacts a reflect."""
    names = {1: standard.contact.port_1, 2: standard.contact.port_2}
    return tuple(p for p, name in names.items() if name is not None and p in record.ports)


def _entries_of(record: Record, standard: LoadedStandard) -> tuple[tuple[int, int], ...]:
    if standard.contact.between is not None:
        return ((0, 0), (0, 1), (1, 0), (1, 1))
    if standard.sweep.s.shape[-1] == 1:
        return ((0, 0),) if _ports(record, standard) else ()
    return tuple((port - 1, port - 1) for port in _ports(record, standard))


def _in_use(record: Record) -> set[str | None]:
    return {name for one in record.sweeps for name in (one.port_1, one.port_2, one.between) if name}


def _definition_errors(name: str, definition: records.StandardDefinition) -> list[RecordError]:
    match definition:
        case records.ShortDefinition():
            own = {"inductance_ph": ("inductance", definition.inductance_u_ph)}
        case records.OpenDefinition():
            own = {"capacitance_ff": ("capacitance", definition.capacitance_u_ff)}
        case records.LoadDefinition():
            own = {
                "resistance_ohm": ("resistance", definition.resistance_u_ohm),
                "inductance_ph": ("inductance", definition.inductance_u_ph),
                "capacitance_ff": ("capacitance", definition.capacitance_u_ff),
            }
        case records.ThruDefinition():
            own = {
                "delay_ps": ("delay", definition.delay_u_ps),
                "z0_ohm": ("impedance", definition.z0_u_ohm),
                "loss_gohm_per_s": ("loss", definition.loss_u_gohm_per_s),
            }
        case records.LineDefinition():
            own = {"length_um": ("length", definition.length_u_um)}
        case _:
            return []  # an unknown reflect's definition only chooses between two roots
    found = [
        RecordError("definitions", f"{word} of {name}", _size(field, u), _moving(name, field, u))
        for field, (word, u) in own.items()
        if u
    ]
    if isinstance(definition, Known):
        offset = {"delay_ps": definition.offset.delay_u_ps, "z0_ohm": definition.offset.z0_u_ohm}
        words = {"delay_ps": "offset delay", "z0_ohm": "offset impedance"}
        found += [
            RecordError(
                "definitions",
                f"{words[field]} of {name}",
                _size(field, u),
                _moving_offset(name, field, u),
            )
            for field, u in offset.items()
            if u
        ]
    return found


def _size(field: str, u: float) -> str:
    """As declared, in the unit that the field's name carries."""
    return f"{u:g} {_UNITS[field.split('_', 1)[1]]}"


def _moving(name: str, field: str, u: float) -> Callable[[Record, float], Record]:
    """Moves a definition's own number; a load's resistance also where the day's stands for it."""

    def moved(record: Record, by: float) -> Record:
        before = getattr(record.definitions[name], field)
        after = (before[0] + by * u, *before[1:]) if isinstance(before, tuple) else before + by * u
        changed = _with_definition(record, name, {field: after})
        return _with_day(changed, name, by * u) if field == "resistance_ohm" else changed

    return moved


def _moving_offset(name: str, field: str, u: float) -> Callable[[Record, float], Record]:
    def moved(record: Record, by: float) -> Record:
        definition = record.definitions[name]
        assert isinstance(definition, Known)
        after = getattr(definition.offset, field) + by * u
        offset = definition.offset.model_copy(update={field: after})
        return _with_definition(record, name, {"offset": offset})

    return moved


def _of_medium(record: Record, by: float) -> Record:
    medium = record.line_medium
    assert medium is not None
    after = medium.capacitance_pf_per_m + by * medium.capacitance_u_pf_per_m
    return record.model_copy(
        update={"line_medium": medium.model_copy(update={"capacitance_pf_per_m": after})}
    )


def _with_definition(record: Record, name: str, update: dict[str, object]) -> Record:
    changed = record.definitions[name].model_copy(update=update)
    return record.model_copy(update={"definitions": {**record.definitions, name: changed}})


def _with_day(record: Record, name: str, by_ohm: float) -> Record:
    """The day's resistance moved at each port that contacts the load of this name."""
    substrate = record.substrate
    update = {}
    for field, contacted in (
        ("load_resistance_port_1_ohm", any(one.port_1 == name for one in record.sweeps)),
        ("load_resistance_port_2_ohm", any(one.port_2 == name for one in record.sweeps)),
    ):
        measured = getattr(substrate, field)
        if contacted and measured is not None:
            update[field] = measured + by_ohm
    return record.model_copy(update={"substrate": substrate.model_copy(update=update)})
