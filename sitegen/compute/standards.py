"""Standards of a calibration record as the mathematics takes them: SI units, the day's load."""

from sitegen.compute.rf.definitions import Load, Offset, Open, ReflectStandard, Short, Thru
from sitegen.compute.rf.solution import Port
from sitegen.model import calibration as records
from sitegen.model.arrays import ComplexArray

GHZ = 1e9
KnownReflect = records.ShortDefinition | records.OpenDefinition | records.LoadDefinition
ReflectDefinition = KnownReflect | records.ReflectDefinition
"""What is contacted at one port."""


def reflect_standard(definition: ReflectDefinition) -> ReflectStandard:
    """A record's definition in SI units; of an unknown reflect the short or open it is near."""
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
        case records.ReflectDefinition():
            return Short(0.0, offset) if definition.near == "short" else Open(0.0, offset)


def _coefficients(given: tuple[float, ...], unit: float) -> tuple[float, ...]:
    """From powers of GHz to powers of Hz."""
    return tuple(value * unit / GHZ**power for power, value in enumerate(given))


def thru_standard(definition: records.ThruDefinition) -> Thru:
    """A thru's definition in SI units."""
    return Thru(definition.delay_ps * 1e-12, definition.z0_ohm, definition.loss_gohm_per_s * GHZ)


def of_the_day(
    definition: ReflectDefinition, record: records.CalibrationRecord, port: Port
) -> ReflectDefinition:
    """A load with the resistance measured through the probe that day, where one was taken."""
    substrate = record.substrate
    measured = (
        substrate.load_resistance_port_1_ohm if port == 1 else substrate.load_resistance_port_2_ohm
    )
    if isinstance(definition, records.LoadDefinition) and measured is not None:
        return definition.model_copy(update={"resistance_ohm": measured})
    return definition


def standard_at(record: records.CalibrationRecord, name: str, port: Port) -> ReflectStandard:
    """What a definition promises at a port, with the day's resistance of a load."""
    definition = record.definitions[name]
    assert isinstance(definition, ReflectDefinition)
    return reflect_standard(of_the_day(definition, record, port))


def made_alike(one: records.CalibrationRecord, other: records.CalibrationRecord) -> bool:
    """Whether two calibrations take an error of their definitions likewise.

    They do with one method on one substrate under the same definitions; then such an error is
    common to both and does not show between them.
    """
    return (
        one.method == other.method
        and one.definitions == other.definitions
        and one.line_medium == other.line_medium
        and one.substrate.serial_number == other.substrate.serial_number
    )


def at_port(s: ComplexArray, port: Port) -> ComplexArray:
    """Reflection at a port, shape (n_freq,); a one-port sweep has just the one."""
    place = 0 if s.shape[-1] == 1 else port - 1
    return s[:, place, place]
