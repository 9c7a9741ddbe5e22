"""A verification held against its own calibration's validity: what of it lies outside, in words.

The rule does not depend on it: a failed verification ends its calibration all the same. But what
was verified late, or in another temperature, says less of the values taken before.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta

from sitegen.model.event_results import CalibrationResult
from sitegen.model.verification import VerificationRecord


def outside_validity(
    record: VerificationRecord, made_at: datetime, calibration: CalibrationResult
) -> str:
    """'8 h 21 min after the calibration and at an ambient 1.5 °C warmer, outside its validity of
    8 h and 1 °C'; empty where the verification lies inside, as far as both records state it.

    made_at: reference time of the verification, not before the calibration's. Only what lies
    outside is named. Both were stamped by one clock, so that its offset cancels.
    """
    found = list(_outside(record, made_at, calibration))
    if not found:
        return ""
    told, bounds = zip(*found, strict=True)
    late = made_at > calibration.expires_at
    than = "" if late else " than at the calibration"
    return f"{_joined(told)}{than}, outside its validity of {_joined(bounds)}"


def _outside(
    record: VerificationRecord, made_at: datetime, calibration: CalibrationResult
) -> Iterator[tuple[str, str]]:
    """What lies outside, each with its bound."""
    calibrated = calibration.record
    validity = calibrated.validity
    if made_at > calibration.expires_at:
        after = _duration(made_at - calibration.made_at, validity.hours)
        yield f"{after} after the calibration", f"{validity.hours:g} h"
    for place, now, then, bound in (
        ("at an ambient", record.ambient_c, calibrated.ambient_c, validity.ambient_change_c),
        (
            "with the contact substrate",
            record.substrate_c,
            calibrated.substrate_c,
            validity.substrate_change_c,
        ),
    ):
        if now is None or then is None or bound is None or abs(now - then) <= bound:
            continue
        word = "warmer" if now > then else "cooler"
        yield f"{place} {_size(abs(now - then), bound)} °C {word}", f"{bound:g} °C"


def _size(change: float, bound: float) -> str:
    """With one decimal, or as many as tell it from its bound."""
    texts = (f"{change:.{places}f}" for places in range(1, 7))
    return next((text for text in texts if float(text) > bound), f"{change:g}")


def _duration(length: timedelta, hours: float) -> str:
    """'8 h 21 min', with seconds where minutes alone would not exceed the validity."""
    seconds = round(length.total_seconds())
    minutes = round(seconds / 60)
    if minutes > hours * 60:
        return f"{minutes // 60} h {minutes % 60:02d} min"
    return f"{seconds // 3600} h {seconds % 3600 // 60:02d} min {seconds % 60:02d} s"


def _joined(parts: tuple[str, ...]) -> str:
    """'a', 'a and b', 'a, b and c'."""
    *head, tail = parts
    return f"{', '.join(head)} and {tail}" if head else tail
