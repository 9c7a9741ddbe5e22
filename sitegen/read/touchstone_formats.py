"""Whether a file's numbers are what its option line says: RI, MA or DB.

Common practice, not a standard. A raw sweep or an active device may well have |S| above 1, so a
file is refused only where its own reading is out of the question at most of its points and another
one is not:

- RI: every reflection would have a median |S| above 10 (20 dB of gain), while its first numbers
  are those of a reflection in dB (at most 3 at 95 % of the points) and its second ones, which reach
  beyond 10, are those of angles (within 360). Without a negative first number they are magnitudes.
- MA: a quarter of one S-parameter's magnitudes is negative. They are dB beside angles, real and
  imaginary parts where no second number reaches beyond 3.
- DB, two ports only: all four S-parameters would lie within 0 and 1.5 dB at 95 % of the points
  (second numbers that reach beyond 10 are angles, first numbers magnitudes), or within 1.5 dB and
  1.5 degrees of 1 (real and imaginary parts): no device reflects all and lets all through. A single
  port's short may look like that, so nothing is said of it.

Fewer than five points show nothing.
"""

import numpy as np

from sitegen.model.arrays import FloatArray

POINTS = 5
_GAIN = 10.0
_GAIN_DB = 3.0
_SMALL = 1.5
_MOST = 0.95
_QUARTER = 0.25
_LEAST_ANGLE = 10.0
_NAMES = {
    "ri": "real and imaginary parts",
    "ma": "magnitude and angle",
    "db": "dB and angle",
}


def other_format(option: str, pairs: FloatArray) -> str | None:
    """What the numbers look like where they cannot be what the option says, as a phrase.

    Args:
        option: "ri", "ma" or "db".
        pairs: shape (n_freq, n_parameter, 2), finite; reflections first and last.
    """
    if len(pairs) < POINTS:
        return None
    looks = {"ri": _instead_of_ri, "ma": _instead_of_ma, "db": _instead_of_db}[option](pairs)
    if looks is None:
        return None
    return f"numbers that look like {_NAMES[looks]} under the option {option.upper()}"


def meaning(option: str) -> str:
    """What an option says that the numbers are."""
    return _NAMES[option]


def _instead_of_ri(pairs: FloatArray) -> str | None:
    if not _may_be_angles(pairs):
        return None
    reflections = pairs[:, [0, -1]]
    size = np.hypot(reflections[..., 0], reflections[..., 1])
    if np.median(size, axis=0).min() <= _GAIN:
        return None
    if np.mean(reflections[..., 0] <= _GAIN_DB, axis=0).min() < _MOST:
        return None
    return "db" if (pairs[..., 0] < 0).any() else "ma"


def _instead_of_ma(pairs: FloatArray) -> str | None:
    if np.mean(pairs[..., 0] < 0, axis=0).max() < _QUARTER:
        return None
    return "ri" if np.abs(pairs[..., 1]).max() <= 2 * _SMALL else "db"


def _instead_of_db(pairs: FloatArray) -> str | None:
    first, second = pairs[..., 0], pairs[..., 1]
    if pairs.shape[1] == 1:
        return None
    if _may_be_angles(pairs) and np.mean((first >= 0) & (first <= _SMALL)) >= _MOST:
        return "ma"
    near_one = (np.abs(first) <= _SMALL) & (np.abs(second) <= _SMALL)
    return "ri" if np.mean(near_one) >= _MOST else None


def _may_be_angles(pairs: FloatArray) -> bool:
    """Whether the second numbers may be angles in degrees, some of them large."""
    second = pairs[..., 1]
    return bool(_LEAST_ANGLE < max(second.max(), -second.min()) <= 360)
