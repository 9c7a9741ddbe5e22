"""Measured bias that is another condition's: a device measured with the wrong bias table."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from sitegen.model.arrays import BoolArray, FloatArray

AGREES = 0.02
"""Measured bias agrees with a set point within this share of it: sources are better by far."""
AGREES_LEAST = 0.01
"""The same in V: what is lost in the leads of a low set point."""
DIFFERS = 0.1
"""It differs beyond this share: a drop in the leads that large is an open contact's."""
DIFFERS_LEAST = 0.05
"""The same in V."""
MOST = 0.5
"""More than this share of a condition's rows must show it."""


@dataclass(frozen=True)
class OtherBias:
    """Rows of a condition whose measured bias is not its own."""

    condition: str
    rows: BoolArray
    """Shape (n,): those that agree with `other`."""
    other: str
    """The condition that they agree with; empty: their own set points, scaled or reversed."""
    looks: str
    """What they look like where `other` is empty: 'of the opposite sign', 'that looks
    like millivolts (mV)'."""


def other_bias(
    conditions: np.ndarray,
    measured: Mapping[str, FloatArray],
    set_points: Mapping[str, Mapping[str, float]],
) -> tuple[OtherBias, ...]:
    """Conditions whose rows were mostly measured with another bias.

    conditions: shape (n,), object: each row's condition or None. measured: by the set point's
    name, shape (n,), NaN where a row has none. set_points: by condition, its bias by name.
    """
    found = []
    for name in sorted(set_points):
        rows = np.asarray(conditions == name, np.bool_)
        own = {key: value for key, value in set_points[name].items() if key in measured}
        known = [np.isfinite(measured[key]) for key in own]
        rows &= np.logical_and.reduce(known) if known else False
        if not rows.any():
            continue
        off = rows & ~_near(measured, own, DIFFERS, DIFFERS_LEAST)
        if off.sum() <= MOST * rows.sum():
            continue
        for other, looks, wanted in _candidates(name, own, set_points):
            fits = off & _near(measured, wanted, AGREES, AGREES_LEAST)
            if fits.sum() > MOST * rows.sum():
                found.append(OtherBias(name, fits, other, looks))
                break
    return tuple(found)


def _candidates(
    name: str, own: Mapping[str, float], set_points: Mapping[str, Mapping[str, float]]
) -> list[tuple[str, str, Mapping[str, float]]]:
    """Bias that may stand in place of a condition's own: another's, reversed, in millivolts."""
    others = [
        (other, "", {key: bias[key] for key in own})
        for other, bias in sorted(set_points.items())
        if other != name and set(own) <= set(bias)
    ]
    is_voltage = all(key.endswith("_v") for key in own)
    scaled = {key: value * 1e3 for key, value in own.items()}
    reversed_ = {key: -value for key, value in own.items()}
    more: list[tuple[str, str, Mapping[str, float]]] = [("", "of the opposite sign", reversed_)]
    unit = "millivolts (mV)" if is_voltage else "milliamperes (mA)"
    more.append(("", f"that looks like {unit}", scaled))
    return [*others, *more]


def _near(
    measured: Mapping[str, FloatArray], wanted: Mapping[str, float], share: float, least_v: float
) -> BoolArray:
    """Rows whose measured bias lies near every set point."""
    near = [
        np.abs(measured[key] - value)
        <= max(share * abs(value), least_v if key.endswith("_v") else 0.0)
        for key, value in wanted.items()
    ]
    return np.asarray(np.logical_and.reduce(near), np.bool_)
