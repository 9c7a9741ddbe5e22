"""Likely causes of what failed, ranked by rules; a help for a person, never a finding.

Each rule adds points to causes that would show as something did: which checks are missed, whether
reflections or transmissions deviate, at one port or both, and whether a deviation grows with
frequency (a path's phase, a stray element), falls (a lifted probe's capacitance in series) or does
neither (a resistance, a level). The points are common practice put in order, no probabilities.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from sitegen.model.arrays import FloatArray
from sitegen.model.event_results import Check, Comparison, MaskResult, StructureResult
from sitegen.model.station_state import STATE_WORDS

Cause = Literal[
    "swapped",
    "ports",
    "lifted",
    "worn",
    "load",
    "cable",
    "temperature",
    "definitions",
    "state",
    "recorded state",
    "plane",
    "reference",
    "unsteady",
    "other terms",
]
Shape = Literal["grows", "falls", "even"]
_WORDS: Mapping[Cause, str] = {
    "swapped": "open and short interchanged{port}",
    "ports": "sweeps stored with their ports interchanged",
    "lifted": "probe{port} lifted, or without good contact, on one standard",
    "worn": "a worn pad, or worn tips of the probe{port}",
    "load": "a load{port} of another value than declared",
    "cable": "a cable{port} moved between the standards or since",
    "temperature": "a temperature step since the calibration it is held against",
    "definitions": "definitions that do not belong to these standards (delay of the thru, open,"
    " short, lengths of lines)",
    "state": "a state that was changed and not recorded (power, attenuator, a part{port})",
    "recorded state": "the state was changed since the calibration, as the record says",
    "plane": "probe{port} landed away from the reference plane",
    "reference": "a reference that is not the structure's: the structure changed, or another one"
    " was measured",
    "unsteady": "unsteady connections or contacts{port} while sweeps were repeated",
    "other terms": "the instrument solved with other definitions, or reported the terms of another"
    " calibration",
}
_BY_CHECK: Mapping[str, Mapping[Cause, float]] = {
    "repeatability": {"unsteady": 3, "lifted": 1, "state": 1},
    "noise floor": {"state": 3, "unsteady": 2},
    "trace noise": {"state": 3, "unsteady": 2},
    "open against short": {"swapped": 3, "lifted": 3, "cable": 1},
    "fitted load inductance": {"load": 2, "definitions": 2, "worn": 1, "lifted": 1},
    "fitted load capacitance": {"load": 2, "definitions": 2, "worn": 1},
    "remainder of the load's fit": {"lifted": 2, "cable": 2, "definitions": 2, "load": 1},
    "magnitude of the solved": {"lifted": 2, "load": 2, "worn": 1, "cable": 1},
    "phase of the solved thru": {"definitions": 3, "cable": 2},
    "effective permittivity": {"definitions": 3, "cable": 1, "plane": 1},
    "attenuation": {"definitions": 2, "lifted": 1, "plane": 1},
    "residual of redundant standards": {"definitions": 3, "lifted": 3, "load": 2, "cable": 1},
    "residual of the load not used": {"worn": 3, "load": 3, "lifted": 2},
    "difference from the terms": {"other terms": 3, "state": 1},
    "contacts of": {"worn": 3, "lifted": 1},
    "contact resistance": {"worn": 3, "lifted": 2},
    "load resistance": {"load": 3, "worn": 3, "lifted": 1},
}
"""How the names of missed checks begin -> causes that would make one missed."""
_LARGE = 0.5
"""A difference of reflections that no drift, contact or wear makes: another thing was measured."""
_ALIKE = 0.02
_MOST = 5


@dataclass(frozen=True)
class _Point:
    """Points for a cause, and the port that they speak of; 0: of none."""

    cause: Cause
    points: float
    port: int = 0


def candidates(
    checks: Sequence[Check] = (),
    *,
    comparisons: Sequence[Comparison] = (),
    structures: Sequence[StructureResult] = (),
) -> tuple[str, ...]:
    """Causes that could stand behind what failed or was not proven, most likely first.

    Empty where nothing failed. More than one wherever more than one is possible.
    """
    found = [
        *_of_checks(checks),
        *_of_raw_differences(checks),
        *_of_comparisons(checks, comparisons),
        *_of_structures(structures),
    ]
    total: dict[Cause, float] = {}
    for point in found:
        total[point.cause] = total.get(point.cause, 0.0) + point.points
    ranked = sorted(total, key=lambda cause: (-total[cause], list(_WORDS).index(cause)))
    return tuple(_worded(cause, found) for cause in ranked[:_MOST])


def _worded(cause: Cause, found: Iterable[_Point]) -> str:
    """With the port, where all points speak of the same one."""
    ports = {point.port for point in found if point.cause == cause}
    port = f" at port {ports.pop()}" if len(ports) == 1 and 0 not in ports else ""
    return _WORDS[cause].format(port=port)


def _points(causes: Mapping[Cause, float], port: int = 0) -> Iterator[_Point]:
    return (_Point(cause, points, port) for cause, points in causes.items())


def _of_checks(checks: Sequence[Check]) -> Iterator[_Point]:
    for check in checks:
        if check.passed is not False:
            continue
        for start, causes in _BY_CHECK.items():
            if check.name.startswith(start):
                yield from _points(causes, _port_of(check.name))


def _port_of(name: str) -> int:
    """The port that a check's name ends with; 0: none."""
    _, found, port = name.rpartition(", port ")
    return int(port) if found else 0


def _of_raw_differences(checks: Sequence[Check]) -> Iterator[_Point]:
    """Raw open and short against the previous calibration, port by port."""
    raw = {
        (check.name.split()[1], _port_of(check.name)): check
        for check in checks
        if check.name.startswith("raw ") and "previous calibration" in check.name
    }
    figures = {key: check.figure for key, check in raw.items() if check.figure is not None}
    missed = {key for key, check in raw.items() if check.passed is False}
    large = {key for key, figure in figures.items() if figure > _LARGE}
    if len(large) == 4 and all(
        _are_alike(figures[word, 1], figures[word, 2]) for word in ("open", "short")
    ):
        yield from _points({"ports": 8, "swapped": 3, "state": 2})
        return
    for port in sorted({port for _, port in missed | large}):
        here = {word for word, at in missed | large if at == port}
        if here == {"open", "short"} and {("open", port), ("short", port)} <= large:
            yield from _points({"swapped": 6, "ports": 3, "cable": 1}, port)
        elif here == {"open", "short"}:
            yield from _points({"cable": 3, "temperature": 3, "state": 2, "plane": 1}, port)
        else:
            yield from _points({"lifted": 4, "worn": 3, "plane": 2}, port)


def _are_alike(one: float, other: float) -> bool:
    return abs(one - other) <= _ALIKE * max(one, other)


def _of_comparisons(checks: Sequence[Check], comparisons: Sequence[Comparison]) -> Iterator[_Point]:
    """A difference from the previous calibration, by its shape and by what the raw sweeps did."""
    same_raw = not any(
        check.passed is False and "previous calibration" in check.name
        for check in checks
        if check.name.startswith("raw ")
    )
    for one in comparisons:
        if one.kind != "previous calibration" or one.passed is not False or one.bound is None:
            continue
        if _shape(one.bound) == "grows":
            yield from _points({"cable": 3, "temperature": 2, "state": 1})
            if same_raw:
                yield from _points({"definitions": 3, "lifted": 1})
        else:
            yield from _points({"load": 3, "worn": 2, "lifted": 2, "state": 1})


def _shape(values: FloatArray) -> Shape:
    """How the two ends of the band compare, each by the greatest value in a tenth of it."""
    known = values[np.isfinite(values)]
    if not len(known):
        return "even"
    tenth = max(len(known) // 10, 1)
    low, high, most = (float(part.max()) for part in (known[:tenth], known[-tenth:], known))
    if low < 0.3 * most and high > low:
        return "grows"
    return "falls" if high < 0.5 * low else "even"


def _of_structures(structures: Sequence[StructureResult]) -> Iterator[_Point]:
    if any(_tells_of_state(one.reason) for one in structures):
        yield _Point("recorded state", 10)
        return
    doubtful = [one for one in structures if one.outcome in ("failed", "not proven")]
    masks = [mask for one in doubtful for mask in one.masks if mask.outcome in _DOUBTFUL]
    if not doubtful:
        return
    if not masks:  # an agreement, a line's quantity, passivity
        yield from _points({"reference": 2, "definitions": 2, "lifted": 1})
    reflected = [mask for mask in masks if mask.mask.parameter in _PORTS]
    passed = [mask for mask in masks if mask.mask.parameter not in _PORTS]
    if any(_is_large(mask) for mask in masks):
        yield from _points({"swapped": 5, "ports": 5})
    if reflected:
        yield from _of_reflections(reflected, bool(passed))
    if passed:
        yield from _of_transmissions(passed)
    if len(doubtful) < len(structures) and len(doubtful) == 1:
        yield from _points({"reference": 3 if not reflected else 1, "plane": 1})


_DOUBTFUL = ("failed", "not proven")
_PORTS: Mapping[str, int] = {"s11": 1, "s22": 2}
"""Reflections and their ports."""


def _of_reflections(masks: Sequence[MaskResult], transmissions_too: bool) -> Iterator[_Point]:
    ports = {_PORTS[mask.mask.parameter] for mask in masks}
    port = ports.pop() if len(ports) == 1 else 0
    shapes = {_shape(mask.deviation) for mask in masks}
    if "falls" in shapes:
        yield from _points({"lifted": 3, "load": 1, "worn": 1}, port)
    if "grows" in shapes:
        yield from _points({"cable": 2, "plane": 2, "temperature": 1, "definitions": 1}, port)
    if "even" in shapes:
        yield from _points({"state": 3, "load": 2, "worn": 2}, port)
    if not transmissions_too:
        yield from _points({"load": 2, "worn": 1, "lifted": 1}, port)


def _of_transmissions(masks: Sequence[MaskResult]) -> Iterator[_Point]:
    if any(_shape(mask.deviation) == "grows" for mask in masks):
        yield from _points({"temperature": 3, "cable": 3, "definitions": 2})
    else:
        yield from _points({"state": 2, "lifted": 1, "temperature": 1})


def _is_large(mask: MaskResult) -> bool:
    linear = mask.mask.quantity == "complex deviation"
    return linear and bool(np.nanmax(mask.deviation, initial=0.0) > _LARGE)


def _tells_of_state(reason: str) -> bool:
    return any(reason.startswith(f"{word}: calibrated") for word in STATE_WORDS.values())
