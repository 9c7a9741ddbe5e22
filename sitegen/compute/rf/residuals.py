"""What is left between two calibrations: the first-order change of corrected S-parameters."""

from dataclasses import dataclass

import numpy as np

from sitegen.compute.rf.terms import DrivenTerms, ErrorTerms, OnePortTerms, TwoPortTerms
from sitegen.model.arrays import ComplexArray


@dataclass(frozen=True, eq=False)
class Residual:
    """First-order change of one direction's S-parameters, (n_freq,) each, near port first.

    Two boxes between what the two calibrations make of a device give
    dS11 = d + r S11 + m S11^2 + far S12 S21 and dS21 = leak + S21 (t + m S11 + far S22).
    What of the load match's change the far box does not explain is `load`: it adds to `far`,
    but for products with the load matches themselves.
    """

    d: ComplexArray
    r: ComplexArray
    m: ComplexArray
    far: ComplexArray
    load: ComplexArray
    t: ComplexArray
    leak: ComplexArray
    load_match: ComplexArray


def residuals_between(first: ErrorTerms, second: ErrorTerms) -> tuple[Residual, ...]:
    """First-order changes of each direction: one for one port, forward and reverse for two."""
    if isinstance(first, OnePortTerms) and isinstance(second, OnePortTerms):
        a, b, c, d = between(first, second)
        none = np.zeros_like(a)
        return (Residual(b / d, a / d - 1.0, -c / d, none, none, none, none, none),)
    assert isinstance(first, TwoPortTerms) and isinstance(second, TwoPortTerms)
    sides = (first.forward, second.forward), (first.reverse, second.reverse)
    return _residual(*sides), _residual(*sides[::-1])


def between(
    first: OnePortTerms | DrivenTerms, second: OnePortTerms | DrivenTerms
) -> tuple[ComplexArray, ComplexArray, ComplexArray, ComplexArray]:
    """a, b, c, d of G' = (a G + b)/(c G + d): the second's inverse after the first."""
    shift = first.directivity - second.directivity
    tracked = first.reflection_tracking - shift * first.source_match
    below = second.reflection_tracking + second.source_match * shift
    c = second.source_match * tracked - second.reflection_tracking * first.source_match
    return tracked, shift, c, below


def _residual(
    near: tuple[DrivenTerms, DrivenTerms], far: tuple[DrivenTerms, DrivenTerms]
) -> Residual:
    one, two = near
    a, b, c, d = between(one, two)
    a_far, b_far, c_far, d_far = between(*far)
    # how the first load match looks through the second calibration's far box
    load_seen = (c_far + d_far * one.load_match) / (a_far + b_far * one.load_match)
    shift_near, shift_far = b / d, b_far / d_far
    loops = (1.0 - two.source_match * shift_near) * (1.0 - two.load_match * shift_far)
    return Residual(
        d=shift_near,
        r=a / d - 1.0,
        m=-c / d,
        far=-c_far / d_far,
        load=load_seen - two.load_match,
        t=one.transmission_tracking / two.transmission_tracking * loops - 1.0,
        leak=(one.isolation - two.isolation) / two.transmission_tracking * loops,
        load_match=one.load_match,
    )
