"""What each event of a station says of the quantities that are followed over time."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

import numpy as np

from sitegen.model.calibration import CalibrationRecord
from sitegen.model.event_results import (
    CalibrationResult,
    Check,
    MaskResult,
    StructureResult,
    VerificationResult,
)
from sitegen.model.verification import LineQuantity, Mask
from sitegen.units import frequency

CHECKS: Mapping[str, tuple[Literal["set", "method"], ...]] = {
    "fitted load inductance": ("set", "method"),
    "fitted load capacitance": ("set", "method"),
    "load resistance": ("set",),
    "magnitude of the solved": ("set", "method"),
    "remainder of": ("set", "method"),
    "effective permittivity": ("set",),
    "attenuation": ("set",),
    "noise floor": (),
    "trace noise": (),
}
"""How the names of followed checks begin -> what besides the instrument makes the figure."""
LINE_QUANTITIES: Mapping[str, tuple[str, str]] = {
    "effective permittivity": ("effective permittivity", "1"),
    "attenuation db per mm": ("attenuation", "dB/mm"),
    "phase deg per mm": ("phase per millimetre", "°"),
}
"""Quantity of a line -> its name and unit."""


@dataclass(frozen=True)
class Observation:
    """A quantity as one event found it."""

    name: str
    alike: tuple[str, ...]
    """In words, what events must share with it to belong to one series: 'VNA-1', 'LRRM'."""
    definition: str
    """What else they must share: a mask, a reference."""
    at: datetime
    """Reference time."""
    source: str
    """Id of the event."""
    value: float | None
    """None: not determined."""
    u: float | None
    unit: str
    lower: float | None
    upper: float | None
    subject: str = ""
    """Whose wear it shows."""
    failed: bool = False
    """Its event failed: it is shown, and says nothing of how the station usually is."""


def of_calibrations(results: Iterable[CalibrationResult]) -> Iterator[Observation]:
    """Checks by name, probes' contact resistance, and the comparison with the one before."""
    for result in results:
        failed = result.outcome == "checks failed"
        for one in (
            *(found for check in result.checks for found in _of_check(result, check)),
            *_of_probes(result),
            *_of_comparison(result),
        ):
            yield replace(one, failed=failed)


def standard_set(record: CalibrationRecord) -> str:
    """The set of standards that a calibration contacted: 'set CS-1, row 3'."""
    return f"set {record.substrate.serial_number}, {record.substrate.standard_set}"


def _of_check(result: CalibrationResult, check: Check) -> Iterator[Observation]:
    record = result.record
    made_by = next((what for start, what in CHECKS.items() if check.name.startswith(start)), None)
    if made_by is None:
        return
    subject = standard_set(record) if "set" in made_by else ""
    by_method = "method" in made_by
    yield Observation(
        name=check.name.replace("load resistance", "load resistance less declared"),
        alike=(subject, record.method if by_method else "", record.instrument),
        definition=record.load_fit if by_method and record.method == "LRRM" else "",
        at=result.made_at,
        source=record.id,
        value=check.figure,
        u=check.u,
        unit=check.unit,
        lower=check.lower,
        upper=check.upper,
        subject=subject,
    )


def _of_probes(result: CalibrationResult) -> Iterator[Observation]:
    for use in result.record.probe_use:
        if use.contact_resistance_ohm is None:
            continue
        yield Observation(
            name=f"contact resistance of probe {use.probe}, port {use.port}",
            alike=(),
            definition="",
            at=result.made_at,
            source=result.record.id,
            value=use.contact_resistance_ohm,
            u=None,
            unit="Ω",
            lower=None,
            upper=use.contact_resistance_max_ohm,
            subject=f"probe {use.probe}",
        )


def _of_comparison(result: CalibrationResult) -> Iterator[Observation]:
    record = result.record
    for comparison in result.comparisons:
        if comparison.kind != "previous calibration" or comparison.bound is None:
            continue
        yield Observation(
            name="greatest difference from the previous calibration",
            alike=(record.instrument,),
            definition="",
            at=result.made_at,
            source=record.id,
            value=_greatest(comparison.bound),
            u=None,
            unit="1",
            lower=None,
            upper=comparison.limit,
        )


def of_verifications(
    results: Iterable[VerificationResult], calibrations: Mapping[str, CalibrationRecord]
) -> Iterator[Observation]:
    """Of each structure: deviation over mask, quantities of lines, the normalised deviation.

    Only events whose calibration is at hand, so that impedance and plane are known.
    """
    for result in results:
        calibration = calibrations.get(result.record.calibration)
        if calibration is None:
            continue
        alike = (
            result.record.instrument,
            calibration.reference_plane,
            f"{calibration.reference_impedance_ohm:g} Ω",
        )
        for structure in result.structures:
            for one in (
                *_of_masks(result, structure, alike),
                *_of_line(result, structure, alike),
                *_of_agreements(result, structure, alike),
            ):
                yield replace(one, failed=result.outcome == "failed")


def _of_masks(
    result: VerificationResult, structure: StructureResult, alike: tuple[str, ...]
) -> Iterator[Observation]:
    found = {one.mask: one for one in structure.masks}
    for mask in structure.structure.masks:
        judged = found.get(mask)
        ratio, u = (None, None) if judged is None else _over_mask(judged)
        yield Observation(
            name=f"{structure.structure.id}, {mask.parameter.upper()}: {_quantity(mask)} over mask",
            alike=(*alike, _range(mask)),
            definition=f"{mask!r} {_reference(structure)}",
            at=result.made_at,
            source=result.record.id,
            value=ratio,
            u=u,
            unit="1",
            lower=None,
            upper=1.0,
        )


def _quantity(mask: Mask) -> str:
    return {
        "complex deviation": "complex deviation",
        "magnitude db": "deviation of magnitude",
        "phase deg": "deviation of phase",
    }[mask.quantity]


def _reference(structure: StructureResult) -> str:
    """What the structure is held against; the file's name is not part of it."""
    return repr(structure.structure.reference.model_dump(exclude={"file"}))


def _range(mask: Mask) -> str:
    """'mask from 1 GHz to 67 GHz'; a mask of one point holds at that frequency."""
    first, last = mask.points[0][0], mask.points[-1][0]
    return f"mask from {frequency(first)} to {frequency(last)}"


def _over_mask(mask: MaskResult) -> tuple[float | None, float | None]:
    """The greatest deviation over its limit, without the rule's guard band, and its uncertainty."""
    ratio = mask.deviation / mask.limit
    if not np.isfinite(ratio).any():
        return None, None
    place = int(np.nanargmax(ratio))
    u = None if mask.u is None else float(mask.u[place] / mask.limit[place])
    return float(ratio[place]), u if u is not None and np.isfinite(u) else None


def _of_line(
    result: VerificationResult, structure: StructureResult, alike: tuple[str, ...]
) -> Iterator[Observation]:
    found = {one.declared: one for one in structure.line_quantities}
    for declared in structure.structure.line_quantities:
        judged = found.get(declared)
        word, unit = LINE_QUANTITIES[declared.quantity]
        yield Observation(
            name=f"{structure.structure.id}: {word} at {frequency(declared.frequency_hz)}",
            alike=alike,
            definition=_definition(declared),
            at=result.made_at,
            source=result.record.id,
            value=None if judged is None else judged.value,
            u=None if judged is None else judged.u,
            unit=unit,
            lower=declared.reference - declared.tolerance,
            upper=declared.reference + declared.tolerance,
        )


def _definition(declared: LineQuantity) -> str:
    return f"{declared.reference!r} {declared.tolerance!r}"


def _of_agreements(
    result: VerificationResult, structure: StructureResult, alike: tuple[str, ...]
) -> Iterator[Observation]:
    for agreement in structure.agreements:
        share = agreement.rule == "share of points"
        value = agreement.figure
        if value is None and not share:
            value = _greatest(agreement.normalised)
        what = "share of points above 1" if share else "greatest"
        yield Observation(
            name=f"{structure.structure.id}, {agreement.parameter.upper()}:"
            f" normalised deviation, {what}",
            alike=alike,
            definition=_reference(structure),
            at=result.made_at,
            source=result.record.id,
            value=value,
            u=None,
            unit="1",
            lower=None,
            upper=agreement.limit,
        )


def _greatest(values: Sequence[float] | np.ndarray) -> float | None:
    finite = np.asarray(values, dtype=np.float64)
    finite = finite[np.isfinite(finite)]
    return float(finite.max()) if finite.size else None
