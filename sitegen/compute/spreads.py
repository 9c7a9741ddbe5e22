"""What lies between measurements of one structure: repeatability, drift, reproducibility, bias."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from sitegen.model.arrays import ComplexArray
from sitegen.model.calibration import CalibrationRecord
from sitegen.model.event_results import StructureResult, VerificationResult
from sitegen.model.followed_results import Spread


@dataclass(frozen=True, eq=False)
class _Measured:
    """A structure as one verification found it."""

    calibration: str
    result: StructureResult
    corrected: ComplexArray


def spreads_of(
    verifications: Iterable[VerificationResult], calibrations: Mapping[str, CalibrationRecord]
) -> tuple[Spread, ...]:
    """One for each structure and S-parameter; verifications in time order.

    Compared is what has the same structure, number of ports, frequencies, reference plane and
    impedance; of several such groups of a structure the largest, and how many verifications the
    others hold is counted as 'left out'. A structure that was measured once and never repeated
    still has its difference from the reference.
    """
    groups: dict[str, dict[object, list[_Measured]]] = {}
    for verification in verifications:
        calibration = calibrations.get(verification.record.calibration)
        for structure in verification.structures:
            if calibration is None or structure.corrected is None:
                continue
            frequency_hz = structure.frequency_hz
            alike = (
                structure.corrected.shape,
                None if frequency_hz is None else frequency_hz.tobytes(),
                calibration.reference_plane,
                calibration.reference_impedance_ohm,
            )
            measured = _Measured(calibration.id, structure, structure.corrected)
            groups.setdefault(structure.structure.id, {}).setdefault(alike, []).append(measured)
    return tuple(
        spread
        for structure, alike_groups in sorted(groups.items())
        for largest in [max(alike_groups.values(), key=len)]
        for spread in _spreads(
            structure, largest, sum(len(group) for group in alike_groups.values()) - len(largest)
        )
    )


def _spreads(structure: str, measured: Sequence[_Measured], left_out: int) -> Iterable[Spread]:
    n_ports = measured[0].corrected.shape[-1]
    repeatability, repeats = _repeatability(measured)
    first: dict[str, _Measured] = {}
    later: list[tuple[_Measured, _Measured]] = []
    for one in measured:
        if one.calibration in first:
            later.append((one, first[one.calibration]))
        else:
            first[one.calibration] = one
    firsts = list(first.values())
    with_reference = [one for one in firsts if one.result.reference is not None]
    for to, source in ((0, 0), (1, 0), (0, 1), (1, 1)):
        if max(to, source) >= n_ports:
            continue
        yield Spread(
            structure=structure,
            parameter=f"s{to + 1}{source + 1}",
            repeatability=repeatability,
            drift=_drift([(a.corrected, b.corrected) for a, b in later], to, source, repeatability),
            reproducibility=_reproducibility(
                [one.corrected[:, to, source] for one in firsts], repeatability
            ),
            difference=_difference(with_reference, to, source),
            counts={
                "repeatability": repeats,
                "drift": len(later),
                "reproducibility": len(firsts) - 1,
                "difference": len(with_reference),
                "left out": left_out,
            },
        )


def _repeatability(measured: Sequence[_Measured]) -> tuple[float | None, int]:
    """Standard deviation of one contact, pooled over verifications, and its degrees of freedom."""
    known = [
        (one.result.repeatability, len(one.result.structure.repeats))
        for one in measured
        if one.result.repeatability is not None and one.result.structure.repeats
    ]
    degrees = sum(number for _, number in known)
    if not degrees:
        return None, 0
    squares = sum(number * deviation**2 for deviation, number in known)
    return math.sqrt(squares / degrees), degrees


def _drift(
    pairs: Sequence[tuple[ComplexArray, ComplexArray]],
    to: int,
    source: int,
    repeatability: float | None,
) -> float | None:
    """Rms difference of later from first, beyond the two contacts that it holds."""
    if not pairs:
        return None
    differences = np.array([later[:, to, source] - first[:, to, source] for later, first in pairs])
    return _beyond(_mean_square(differences), 2.0, repeatability)


def _reproducibility(values: Sequence[ComplexArray], repeatability: float | None) -> float | None:
    """Standard deviation between calibrations, beyond the one contact that each holds."""
    if len(values) < 2:
        return None
    stacked = np.array(values)
    variance = _mean_square(stacked - stacked.mean(axis=0)) * len(values) / (len(values) - 1)
    return _beyond(variance, 1.0, repeatability)


def _difference(measured: Sequence[_Measured], to: int, source: int) -> float | None:
    """Rms over frequency of the mean deviation from the reference."""
    deviations = [
        one.corrected[:, to, source] - one.result.reference[:, to, source]
        for one in measured
        if one.result.reference is not None
    ]
    if not deviations:
        return None
    return _root(_mean_square(np.mean(deviations, axis=0)))


def _beyond(square: float, contacts: float, repeatability: float | None) -> float | None:
    """What remains of a mean square beyond so many contacts; 0 where nothing does."""
    return _root(max(square - contacts * (repeatability or 0.0) ** 2, 0.0))


def _mean_square(values: ComplexArray) -> float:
    """Mean |value|^2 where determined; NaN where nowhere."""
    squares = np.abs(values) ** 2
    known = squares[np.isfinite(squares)]
    return float(known.mean()) if known.size else math.nan


def _root(square: float) -> float | None:
    return math.sqrt(square) if math.isfinite(square) else None
