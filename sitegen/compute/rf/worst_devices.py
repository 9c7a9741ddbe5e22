"""The passive two-ports on which two calibrations differ most: a start and a climb from there."""

from dataclasses import dataclass

import numpy as np

from sitegen.compute.rf.residuals import Residual
from sitegen.compute.rf.terms import DrivenTerms
from sitegen.model.arrays import ComplexArray, FloatArray

_SIZES_RAD = np.linspace(0.03, 0.5 * np.pi - 0.03, 7)
_PHASES_RAD = np.linspace(0.0, 2.0 * np.pi, 12, endpoint=False)
_GRID = np.outer(np.cos(_SIZES_RAD), np.exp(1j * _PHASES_RAD)).reshape(-1, 1)
_THROUGH = np.repeat(np.sin(_SIZES_RAD), len(_PHASES_RAD))[:, np.newaxis]
"""S11 and |S21| of lossless two-ports among which the search begins, none at an end, where
slopes vanish."""
SEARCH_TOLERANCE = 0.025
"""By how much the search of two ports may stop short of the greatest difference: 0.005 along
flat ridges, and so much at a maximum beside the greatest when load matches have changed most."""
_STEPS = 8
_MOVE_RAD = 0.003
_PAIRS = ((0, 1), (0, 2), (1, 2))
_ONE = np.eye(3)
_MOVES_RAD = _MOVE_RAD * np.concatenate(
    [np.zeros((1, 3)), _ONE, 2.0 * _ONE, [_ONE[k] + _ONE[other] for k, other in _PAIRS]]
).T.reshape(3, 10, 1, 1)
"""No move, one and two of each of the first three angles, and one of each pair of them."""
_MOVED = np.exp(1j * _MOVES_RAD)
_STILL = np.ones(3, np.complex128)


@dataclass(frozen=True, eq=False)
class Change:
    """From the waves of one drive under the first terms to those under the second, exactly.

    With the raw source wave a0 = a - ES b at the near port, b' = shift a0 + track b and
    a' = a0 + ES' b'; at the far port b' = leak a0 + through b and a' = EL' b'.
    """

    one: DrivenTerms
    two: DrivenTerms
    shift: ComplexArray
    track: ComplexArray
    leak: ComplexArray
    through: ComplexArray


def change_of(one: DrivenTerms, two: DrivenTerms) -> Change:
    """What lies between two directions' terms, seen through the second one."""
    return Change(
        one,
        two,
        (one.directivity - two.directivity) / two.reflection_tracking,
        one.reflection_tracking / two.reflection_tracking,
        (one.isolation - two.isolation) / two.transmission_tracking,
        one.transmission_tracking / two.transmission_tracking,
    )


def worst_devices(start: FloatArray, near: Change, far: Change) -> tuple[FloatArray, FloatArray]:
    """Greatest |dS11| and |dS21|, (2, n_freq), and the angles of the devices, (4, 2, n_freq).

    Newton steps up log |dS|, shortened where they do not lead upwards (Levenberg, Marquardt).
    The phase that S21 and S12 share oppositely only turns dS21 against the leak: it is set
    apart from the other three angles.
    """
    place = np.argmax(np.nan_to_num(np.abs(_exact(near, far, start))), axis=0)
    best: FloatArray = np.take_along_axis(start, place[np.newaxis, np.newaxis], axis=1)[:, 0]
    value: FloatArray = np.full(best.shape[1:], -1.0)
    share: FloatArray = np.ones(best.shape[1:])
    slope: FloatArray = np.zeros((3, *value.shape))
    bend: FloatArray = np.zeros((3, 3, *value.shape))
    tried = best
    for _ in range(_STEPS):
        shown = _exact(near, far, tried, _MOVED)
        found = np.abs(shown[0])
        better = found > value
        new_slope, new_bend = _slope_and_bend(shown)
        best, value = np.where(better, tried, best), np.where(better, found, value)
        slope, bend = np.where(better, new_slope, slope), np.where(better, new_bend, bend)
        share = np.where(better, 1.0, 0.25 * share)
        tried = best.copy()
        tried[:3] += share * _step(slope, bend)
    return _against_leak(near, far, best, value)


def _slope_and_bend(shown: ComplexArray) -> tuple[FloatArray, FloatArray]:
    """First derivatives of log |dS| and its second ones with their signs turned, from `_MOVES`."""
    at, one, two, mixed = shown[0], shown[1:4], shown[4:7], shown[7:]
    first = (4.0 * one - two - 3.0 * at) / (2.0 * _MOVE_RAD)
    second: ComplexArray = np.empty((3, 3, *at.shape), np.complex128)
    for k in range(3):
        second[k, k] = two[k] - 2.0 * one[k] + at
    for (k, other), both in zip(_PAIRS, mixed, strict=True):
        second[k, other] = second[other, k] = both - one[k] - one[other] + at
    share = first / at
    bend = share[:, np.newaxis] * share - second / (_MOVE_RAD**2 * at)
    return np.nan_to_num(share.real), np.nan_to_num(bend.real)


def _step(slope: FloatArray, bend: FloatArray) -> FloatArray:
    """Newton's step (bend + shift)^-1 slope by Cramer's rule, at most half a radian an angle.

    The shift makes the matrix positive definite, so that the step leads upwards.
    """
    shift = np.maximum(0.0, -2.0 * _least_eigenvalue(bend)) + 1e-4
    a, b, c = (bend[k, k] + shift for k in range(3))
    d, e, f = bend[0, 1], bend[0, 2], bend[1, 2]
    x, y, z = slope
    ab, ac, bc = b * c - f * f, e * f - c * d, d * f - b * e
    aa, ad, cc = a * c - e * e, d * e - a * f, a * b - d * d
    total = a * ab + d * ac + e * bc
    step = np.array([ab * x + ac * y + bc * z, ac * x + aa * y + ad * z, bc * x + ad * y + cc * z])
    return np.asarray(np.clip(np.nan_to_num(step / total), -0.5, 0.5))


def _least_eigenvalue(matrix: FloatArray) -> FloatArray:
    """Of symmetric (3, 3, ...) matrices, by Cardano's formula in its trigonometric form."""
    (a, d, e), (_, b, f), (_, _, c) = matrix
    mean = (a + b + c) / 3.0
    a, b, c = a - mean, b - mean, c - mean
    size = np.sqrt((a * a + b * b + c * c + 2.0 * (d * d + e * e + f * f)) / 6.0)
    determinant = a * (b * c - f * f) - d * (d * c - f * e) + e * (d * f - b * e)
    half = np.clip(np.nan_to_num(determinant / (2.0 * size**3)), -1.0, 1.0)
    least: FloatArray = mean + 2.0 * size * np.cos((np.arccos(half) + 2.0 * np.pi) / 3.0)
    return least


def _against_leak(
    near: Change, far: Change, angles: FloatArray, value: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """With the phase of S21 at which what follows it adds to what does not."""
    half_turn = np.array([0.0, 0.0, 0.0, np.pi])[:, np.newaxis, np.newaxis]
    here, there = _exact(near, far, np.stack([angles, angles + half_turn], 1))
    turned = angles.copy()
    turned[3] += np.angle(here + there) - np.angle(here - there)
    found = np.abs(_exact(near, far, turned))
    better = found > value
    return np.where(better, found, value), np.where(better, turned, angles)


def _exact(
    near: Change, far: Change, angles: FloatArray, moved: ComplexArray = _STILL
) -> ComplexArray:
    """S'11 - S11 of the first half and S'21 - S21 of the second, (..., 2, n_freq)."""
    s11, s22, determinant, s21, s12 = lossless(angles, moved)
    a_1, b_1, a_2, b_2 = _waves(near, s11, s22, determinant, s21)
    far_a_2, far_b_2, far_a_1, far_b_1 = _waves(far, s22, s11, determinant, s12)
    total = a_1 * far_a_2 - far_a_1 * a_2
    first, second = (..., 0, slice(None)), (..., 1, slice(None))
    shown = np.empty_like(total)
    shown[first] = (b_1 * far_a_2 - far_b_1 * a_2)[first] / total[first] - s11[first]
    shown[second] = (b_2 * far_a_2 - far_b_2 * a_2)[second] / total[second] - s21[second]
    return shown


def _waves(
    change: Change,
    near: ComplexArray,
    far: ComplexArray,
    determinant: ComplexArray,
    through: ComplexArray,
) -> tuple[ComplexArray, ComplexArray, ComplexArray, ComplexArray]:
    """a and b at the near port, a and b at the far one, as the second terms see them."""
    b = near - change.one.load_match * determinant
    source = 1.0 - change.one.load_match * far - change.one.source_match * b
    b_near = change.shift * source + change.track * b
    b_far = change.leak * source + change.through * through
    return (
        source + change.two.source_match * b_near,
        b_near,
        change.two.load_match * b_far,
        b_far,
    )


def lossless(
    angles: FloatArray, moved: ComplexArray = _STILL
) -> tuple[ComplexArray, ComplexArray, ComplexArray, ComplexArray, ComplexArray]:
    """S11, S22, determinant, S21 and S12 of lossless two-ports.

    `angles`, (4, ...): that whose cosine is |S11|, those of S11, of S12 S21 and of S21.
    `moved`, (3, ...): phasors of what the first three are moved by.
    """
    size, reflected, product, through = np.exp(1j * angles)
    size = size * moved[0]
    turn = product * moved[2]
    s11, s21 = size.real * (reflected * moved[1]), size.imag * through
    return s11, -np.conj(s11) * turn, -turn, s21, np.conj(s21) * turn


def worst_to_first_order(near: Residual, far: Residual) -> FloatArray:
    """Where |dS11| and |dS21| are greatest to the first order, as angles (4, n_size, 2, n_freq).

    S11 is sought on a grid, and the best is given for each of its sizes. For each S11 the angle
    phi of S12 S21 gives dS a part exp(j phi) M / (B - exp(j phi) C), a circle, whose farthest
    point is known. (The product of load matches in C is taken as if it belonged to all of M:
    right to their first order.)
    """
    gamma, through = _GRID, _THROUGH
    b = 1.0 - gamma * far.load_match
    c = near.load_match * (far.load_match * through**2 - np.conj(gamma) * b)
    by_reverse = far.load * near.load_match
    straight = near.d + gamma * (near.r + gamma * near.m)
    part = through**2 * (near.load * b - gamma * by_reverse)
    reflected = _farthest(straight, part + near.far * through**2 * b, b, c, part)
    part = -near.load * np.conj(gamma) * b - by_reverse * through**2
    passed = _farthest(near.t + gamma * near.m, part - near.far * np.conj(gamma) * b, b, c, part)
    angles = []
    for (shown, product), weight in ((reflected, 1.0), (passed, through)):
        by_size = (len(_SIZES_RAD), len(_PHASES_RAD), -1)
        size = np.nan_to_num(weight * np.abs(shown)).reshape(by_size)
        at = np.argmax(size, axis=1)[:, np.newaxis]
        best = np.take_along_axis(product.reshape(by_size), at, 1)[:, 0]
        there = np.take_along_axis(shown.reshape(by_size), at, 1)[:, 0]
        leak = np.angle(near.leak) - np.angle(there)
        sizes_rad = np.broadcast_to(_SIZES_RAD[:, np.newaxis], leak.shape)
        angles.append([sizes_rad, _PHASES_RAD[at[:, 0]], best, leak])
    return np.moveaxis(np.array(angles), 0, 2)


def _farthest(
    straight: ComplexArray, m: ComplexArray, b: ComplexArray, c: ComplexArray, part: ComplexArray
) -> tuple[ComplexArray, FloatArray]:
    """The farthest `straight` + e M/(B - e C part/M) from 0 over |e| = 1, and the angle of e."""
    c = np.nan_to_num(c * part / m)
    spread = np.abs(b) ** 2 - np.abs(c) ** 2
    centre, radius = m * np.conj(c) / spread, np.abs(b * m) / spread
    turned = centre + radius * np.exp(1j * np.angle(straight + centre))
    return straight + turned, np.nan_to_num(np.angle(turned * b / (m + turned * c)))
