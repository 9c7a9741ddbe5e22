"""What lies between the probe tips and a device taken off with the help of dummy structures.

Lumped forms (Y in siemens, Z in ohm, of corrected S at the probe tips):

- open: Y = Y_measured - Y_open, pads as admittances beside the device (van Wijnen, Claessen and
  Wolsheimer, BCTM 1987, p. 70);
- short: Z = Z_measured - Z_short, leads as impedances before it;
- open-short: Z = (Y_measured - Y_open)^-1 - (Y_short - Y_open)^-1, pads outside, leads inside
  (Koolen, Geelen and Versleijen, BCTM 1991, p. 188);
- short-open: Y = (Z_measured - Z_short)^-1 - (Z_open - Z_short)^-1, leads outside, pads inside;
- pad-open-short: the pads alone are taken off device, open and short; the short then is the leads;
  what the open shows behind the leads is the coupling beside the device, taken off last (three
  steps, after Cho and Burk, IEEE Trans. Electron Devices 38, 1991, p. 1371).

With a thru (chain matrices):

- thru: a reciprocal thru is halved in its pi-form, Y at its outer ends and 2 Z across; the left
  half is the shunt Y and the series Z, the right half its mirror image (Ito and Masu, IEEE MTT-S
  2008, p. 383). Unequal ends are averaged. The halves of a line are so only while it is short;
- thru-line: thru and line have the same pads, a shunt admittance each, and one uniform line of two
  lengths. Line times thru^-1 = [a b; c d] is the line's excess between the pads: Y_pad =
  (d - a) / (2 b), propagation gamma l = arccosh((a + d) / 2) (Mangan, Voinigescu, Yang and
  Tazlauanu, IEEE Trans. Electron Devices 53, 2006, p. 235). What the pads leave of the thru is a
  line; the planes are in its middle, whatever its length and loss. Undetermined where the excess
  is a multiple of half a wavelength, and poor where it is electrically short.

All sources quoted from memory. Everything is pointwise in frequency and analytic in each argument.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from sitegen.compute.rf.entries import as_matrices
from sitegen.compute.rf.two_port import (
    admittance,
    as_two_port,
    chain,
    from_chain,
    impedance,
    inverse,
    mirrored,
    product,
)
from sitegen.model.arrays import ComplexArray
from sitegen.model.device import DUMMIES_OF, LUMPED, DeembeddingMethod

SECOND_PORT = {"open": 1.0, "pad": 1.0, "short": -1.0}
"""Reflection of the port that a one-port dummy does not have."""


TakeOff = Callable[[ComplexArray], ComplexArray]
"""Corrected S of devices to S of the devices themselves."""


def deembed(
    method: DeembeddingMethod,
    s: ComplexArray,
    dummies: Mapping[str, ComplexArray],
    z_ref_ohm: float,
) -> ComplexArray:
    """S-parameters of the device itself.

    Args:
        s: corrected, (..., n_freq, 2, 2), or (..., n_freq, 1, 1) with a lumped method.
        dummies: corrected, by part ('open', 'short', ...) as `DUMMIES_OF` names them, each
            broadcast against `s`.
        z_ref_ohm: real reference impedance of all of them and of the result.

    Returns:
        The broadcast shape; not finite where an argument is not, or the form fails.

    Raises:
        KeyError: a dummy that the method needs is absent.
        ValueError: sweeps of one port with a method that needs two.
    """
    return deembedding(method, dummies, z_ref_ohm, s.shape[-1])(s)


@np.errstate(all="ignore")
def deembedding(
    method: DeembeddingMethod,
    dummies: Mapping[str, ComplexArray],
    z_ref_ohm: float,
    n_ports: int = 2,
) -> TakeOff:
    """`deembed` of sweeps of `n_ports` with the same dummies, which are worked through once."""
    parts = {name: dummies[name] for name in DUMMIES_OF[method]}
    if n_ports == 1:
        if method not in LUMPED:
            raise ValueError(f"de-embedding by '{method}' needs sweeps of two ports")
        parts = {name: as_two_port(one, SECOND_PORT[name]) for name, one in parts.items()}
        two_ports = deembedding(method, parts, z_ref_ohm)
        return lambda s: two_ports(as_two_port(s))[..., :1, :1]
    if method in LUMPED:
        return _Fraction(*_lumped(method, parts)).of
    thru = chain(parts["thru"], z_ref_ohm)
    if method == "thru":
        left = inverse(left_of_thru(parts["thru"], z_ref_ohm))
        right = mirrored(left)
        return lambda s: from_chain(product(product(left, chain(s, z_ref_ohm)), right), z_ref_ohm)
    pads = _shunt(-pad_of_line(thru, chain(parts["line"], z_ref_ohm)))
    line = product(product(pads, thru), pads)
    return lambda s: from_chain(
        _without_halves(line, product(product(pads, chain(s, z_ref_ohm)), pads)), z_ref_ohm
    )


@dataclass(frozen=True, eq=False)
class _Fraction:
    """(a + b S)(c + d S)^-1 of two-by-two matrices (..., n_f, 2, 2)."""

    a: ComplexArray
    b: ComplexArray
    c: ComplexArray
    d: ComplexArray

    @np.errstate(all="ignore")
    def of(self, s: ComplexArray) -> ComplexArray:
        """The fraction of some S."""
        over, (e, f, g, h) = _line(self.a, self.b, s), _line(self.c, self.d, s)
        found = np.empty_like(over)
        for row in (0, 2):
            np.multiply(over[row], h, out=found[row])
            found[row] -= over[row + 1] * g
            np.multiply(over[row + 1], e, out=found[row + 1])
            found[row + 1] -= over[row] * f
        found *= 1.0 / (e * h - f * g)
        return as_matrices(found)


def _line(a: ComplexArray, b: ComplexArray, s: ComplexArray) -> ComplexArray:
    """a + b S by entry."""
    found = np.empty((4, *np.broadcast_shapes(a.shape[:-2], s.shape[:-2])), np.complex128)
    for place, (i, j) in enumerate(((0, 0), (0, 1), (1, 0), (1, 1))):
        np.multiply(b[..., i, 0], s[..., 0, j], out=found[place])
        found[place] += b[..., i, 1] * s[..., 1, j]
        found[place] += a[..., i, j]
    return found


def _lumped(
    method: DeembeddingMethod, dummies: Mapping[str, ComplexArray]
) -> tuple[ComplexArray, ComplexArray, ComplexArray, ComplexArray]:
    """a, b, c and d of the S of the device itself, (a + b S)(c + d S)^-1.

    With reference impedance 1, Y = N D^-1 with N = 1 - S and D = 1 + S. An admittance taken off
    leaves N - Y D over D, an impedance N over D - Z N, and the S of what is left is
    (D - N)(D + N)^-1. All stay straight in S, with coefficients of the dummies alone.
    """
    outside, leads, beside = lumped_parts(method, dummies, 1.0)
    both, one = product(leads, outside), np.eye(2)
    n_0, n_1 = one - outside, -one - outside
    d_0, d_1 = one - leads + both, one + leads + both
    if beside.any():
        n_0, n_1 = n_0 - product(beside, d_0), n_1 - product(beside, d_1)
    return d_0 - n_0, d_1 - n_1, d_0 + n_0, d_1 + n_1


def lumped_parts(
    method: DeembeddingMethod, dummies: Mapping[str, ComplexArray], z_ref_ohm: float
) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
    """Admittance outside, impedance of the leads behind it, admittance beside the device.

    Whatever a lumped method does not know is zero.
    """
    zero: ComplexArray = np.zeros((1, 2, 2), dtype=np.complex128)
    if method == "open":
        return admittance(dummies["open"], z_ref_ohm), zero, zero
    short = impedance(dummies["short"], z_ref_ohm)
    if method == "short":
        return zero, short, zero
    pads_and_leads = admittance(dummies["open"], z_ref_ohm)
    if method == "open-short":
        return pads_and_leads, behind(short, pads_and_leads), zero
    if method == "short-open":
        return zero, short, behind(pads_and_leads, short)
    pads = admittance(dummies["pad"], z_ref_ohm)
    leads = behind(short, pads)
    return pads, leads, behind(pads_and_leads - pads, leads)


def behind(whole: ComplexArray, taken: ComplexArray) -> ComplexArray:
    """(whole^-1 - taken)^-1 = whole (1 - taken whole)^-1, which holds for a singular whole too.

    An admittance behind an impedance in series, or an impedance behind a shunt admittance.
    """
    return product(whole, inverse(np.eye(2) - product(taken, whole)))


def left_of_thru(thru: ComplexArray, z_ref_ohm: float) -> ComplexArray:
    """Chain matrix of the left half of a thru given as S, shunt Y and then series Z."""
    shunt, series = pi_of_thru(thru, z_ref_ohm)
    return _chain_of(np.ones_like(shunt), series, shunt, 1.0 + shunt * series)


def pi_of_thru(thru: ComplexArray, z_ref_ohm: float) -> tuple[ComplexArray, ComplexArray]:
    """Y at each end and Z of each half of a thru given as S, (...)."""
    y = admittance(thru, z_ref_ohm)
    across = -0.5 * (y[..., 0, 1] + y[..., 1, 0])
    return 0.5 * (y[..., 0, 0] + y[..., 1, 1]) - across, 0.5 / across


def pad_of_line(thru: ComplexArray, line: ComplexArray) -> ComplexArray:
    """Shunt admittance of each pad, (...), from chain matrices of thru and line."""
    excess = product(line, inverse(thru))
    pad: ComplexArray = (excess[..., 1, 1] - excess[..., 0, 0]) / (2.0 * excess[..., 0, 1])
    return pad


@np.errstate(all="ignore")
def propagation_of_line(thru: ComplexArray, line: ComplexArray, z_ref_ohm: float) -> ComplexArray:
    """gamma times the excess length of a line over a thru given as S, (...); the real part is
    not negative, the imaginary part lies within half a turn."""
    excess = product(chain(line, z_ref_ohm), inverse(chain(thru, z_ref_ohm)))
    found: ComplexArray = np.arccosh(0.5 * (excess[..., 0, 0] + excess[..., 1, 1]))
    return np.where(found.real < 0, -found, found)


def _without_halves(line: ComplexArray, between: ComplexArray) -> ComplexArray:
    """What lies between two halves of a uniform line, all chain matrices.

    A half is (line + 1) / k with k^2 = trace + 2; only k^2 is needed, so that no root is taken.
    """
    halves = inverse(line + np.eye(2))
    squared = line[..., 0, 0] + line[..., 1, 1] + 2.0
    inner: ComplexArray = squared[..., np.newaxis, np.newaxis] * product(
        product(halves, between), halves
    )
    return inner


def _shunt(y: ComplexArray) -> ComplexArray:
    one = np.ones_like(y)
    return _chain_of(one, np.zeros_like(y), y, one)


def _chain_of(a: ComplexArray, b: ComplexArray, c: ComplexArray, d: ComplexArray) -> ComplexArray:
    return np.stack([np.stack([a, b], -1), np.stack([c, d], -1)], -2)
