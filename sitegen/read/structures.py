"""One structure of a verification: its sweeps, its measured reference, and what cannot be judged.

What can be told without correcting is a fault of the record: a mask that no frequency meets, a
phase of nothing, a quantity of a line on a reflect. The structure is judged by what is left.
"""

from collections.abc import Sequence

from sitegen.model.arrays import FloatArray
from sitegen.model.calibration import CalibrationRecord
from sitegen.model.frequency_lists import FREQUENCY_TOLERANCE, same_frequencies
from sitegen.model.loaded import LoadedStructure, Sweep
from sitegen.model.verification import Mask, MeasuredReference, Structure
from sitegen.read.files import Asked, Intake, beside
from sitegen.read.frequencies import span, tell_other_frequencies
from sitegen.read.touchstone import read_touchstone
from sitegen.read.words import frequency, quoted

_REFLECTS = {"short", "open", "load"}
_TWO_PORTS = {"line", "attenuator"}


def read_structure(
    intake: Intake,
    file: str,
    number: int,
    structure: Structure,
    calibration: CalibrationRecord | None,
    missing: list[str],
) -> LoadedStructure:
    """A structure with its sweep, its further contacts and, where measured, its reference.

    `number` counts from 1; `missing` takes a phrase for each part without which it cannot be
    judged. A further contact that cannot be read only leaves less to tell repeatability from.
    """
    z_ref_ohm = None if calibration is None else calibration.reference_impedance_ohm
    place = f"structures[{number}]"
    named = f"(id {quoted(structure.id)})"
    ports = _ports(structure, calibration)
    path = beside(file, structure.file)
    sweep = read_touchstone(intake, path, Asked(file, f"{place}.file {named}"), ports, z_ref_ohm)
    if sweep is None:
        missing.append(f"the sweep {path} could not be read")
    same_ports = ports if sweep is None else [sweep.s.shape[1]]

    def alike(name: str, key: str) -> Sweep | None:
        asked = Asked(file, f"{place}.{key} {named}")
        other = read_touchstone(intake, beside(file, name), asked, same_ports, z_ref_ohm)
        if other is None or sweep is None:
            return other
        if same_frequencies(other.frequency_hz, sweep.frequency_hz):
            return other
        tell_other_frequencies(
            intake, other, sweep.frequency_hz, f"the structure's sweep {sweep.file}"
        )
        return None

    opened = [
        alike(name, f"repeats[{position}]") for position, name in enumerate(structure.repeats, 1)
    ]
    reference: Sweep | None = None
    if isinstance(structure.reference, MeasuredReference):
        reference = alike(structure.reference.file, "reference.file")
        if reference is None:
            path = beside(file, structure.reference.file)
            missing.append(f"the reference {path} could not be read")
    _check_possible(intake, file, place, structure, calibration)
    if sweep is not None:
        _check_frequencies(intake, file, place, structure, sweep)
    repeats = tuple(one for one in opened if one is not None and sweep is not None)
    return LoadedStructure(structure, sweep, reference, repeats)


def inside_mask(mask: Mask, frequency_hz: FloatArray) -> bool:
    """Whether a mask says something about at least one of the frequencies."""
    first, last = mask.points[0][0], mask.points[-1][0]
    return bool(((frequency_hz >= first) & (frequency_hz <= last)).any())


def tell_outside_mask(intake: Intake, file: str, place: str, mask: Mask, sweep: Sweep) -> None:
    """The fault for a mask that has no frequency of a sweep between its points."""
    first, last = mask.points[0][0], mask.points[-1][0]
    intake.tell(
        file,
        f"{place}.points",
        found=f"limits from {frequency(first)} to {frequency(last)}",
        expected=f"limits for frequencies of {sweep.file}, {span(sweep.frequency_hz)}",
        remedy="Correct the mask's frequencies; until then nothing is judged by it.",
    )


def _ports(structure: Structure, calibration: CalibrationRecord | None) -> list[int]:
    """The numbers of ports that a structure's sweep may have: those that its masks, its model and
    its other checks need, at most those that were calibrated."""
    needs_two = (
        structure.reference.kind in _TWO_PORTS
        or any(mask.parameter != "s11" for mask in structure.masks)
        or bool(structure.line_quantities)
        or structure.reciprocal
    )
    if needs_two:
        return [2]
    return [1] if calibration is not None and len(calibration.ports) == 1 else [1, 2]


def _check_possible(
    intake: Intake,
    file: str,
    place: str,
    structure: Structure,
    calibration: CalibrationRecord | None,
) -> None:
    """Faults for what the record asks of a structure that is not of that kind."""
    kind = structure.reference.kind
    nothing: Sequence[str] = ()
    if kind in _REFLECTS:
        nothing = ("s21", "s12")
    elif kind == "attenuator":
        nothing = ("s11", "s22")
    for position, mask in enumerate(structure.masks, 1):
        if mask.parameter in nothing and mask.quantity != "complex deviation":
            intake.tell(
                file,
                f"{place}.masks[{position}].quantity",
                found=f"{quoted(mask.quantity)} for {mask.parameter}, which is zero by its model"
                f" {quoted(kind)}",
                expected='"complex deviation", the only one that nothing has',
                remedy="Write the mask as a complex deviation in linear magnitude.",
            )
    if structure.line_quantities and kind in _REFLECTS | {"attenuator"}:
        intake.tell(
            file,
            f"{place}.line_quantities",
            found=f"quantities of a line on a structure with the model {quoted(kind)}",
            expected="a reference of a line, modelled or measured",
            remedy="Remove the quantities, or correct the reference.",
        )
    if structure.agreement != "shown" and calibration is not None and not calibration.uncertainty:
        intake.tell(
            file,
            f"{place}.agreement",
            found=f"the rule {quoted(structure.agreement)}, where calibration {calibration.id}"
            " states no uncertainty of corrected sweeps",
            expected='"shown", or an uncertainty that a deviation can be held against',
            remedy="State the calibration's [uncertainty], or remove the rule.",
        )


def _check_frequencies(
    intake: Intake, file: str, place: str, structure: Structure, sweep: Sweep
) -> None:
    """Faults for masks and quantities about frequencies that the sweep does not have."""
    for position, mask in enumerate(structure.masks, 1):
        if not inside_mask(mask, sweep.frequency_hz):
            tell_outside_mask(intake, file, f"{place}.masks[{position}]", mask, sweep)
    first, last = sweep.frequency_hz[0], sweep.frequency_hz[-1]
    for position, quantity in enumerate(structure.line_quantities, 1):
        asked = quantity.frequency_hz
        if first * (1 - FREQUENCY_TOLERANCE) <= asked <= last * (1 + FREQUENCY_TOLERANCE):
            continue
        intake.tell(
            file,
            f"{place}.line_quantities[{position}].frequency_hz",
            found=frequency(asked),
            expected=f"a frequency inside the sweep {sweep.file}, {span(sweep.frequency_hz)}",
            remedy="Correct the frequency; nothing is extrapolated.",
        )
