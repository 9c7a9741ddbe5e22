"""Many raw sweeps corrected at once: as each by itself, and lying in memory by entry."""

import numpy as np
import pytest

from sitegen.compute.correction import correct_sweeps
from sitegen.compute.rf.correct import correct, uncorrect
from sitegen.compute.rf.entries import by_entry
from sitegen.compute.rf.terms import DrivenTerms, OnePortTerms, TwoPortTerms
from sitegen.model.arrays import ComplexArray

F_HZ = np.linspace(1e9, 40e9, 101)
SWEEPS = 250
"""Points enough for several portions."""


def drawn(rng: np.random.Generator, *shape: int) -> ComplexArray:
    parts = rng.normal(size=(2, *shape))
    return np.asarray(parts[0] + 1j * parts[1], dtype=np.complex128)


def terms() -> TwoPortTerms:
    rng = np.random.default_rng(7)
    sides = []
    for _ in range(2):
        d, m, r, load, t, x = 0.1 * drawn(rng, 6, len(F_HZ))
        sides.append(DrivenTerms(d, m, 1.0 + r, load, 1.0 + t, 0.01 * x))
    return TwoPortTerms(F_HZ, 50.0, *sides)


def test_many_sweeps_are_corrected_as_each_by_itself() -> None:
    true = 0.3 * drawn(np.random.default_rng(8), SWEEPS, len(F_HZ), 2, 2)
    raw = uncorrect(terms(), true)
    found = correct_sweeps(terms(), raw)
    assert np.allclose(found, true, rtol=0.0, atol=1e-13)
    assert np.allclose(found[200], correct(terms(), raw[200]), rtol=1e-13, atol=0.0)
    assert np.shares_memory(by_entry(found), found)


@pytest.mark.parametrize("port", [1, 2])
def test_one_port_sweeps_are_corrected_at_their_port(port: int) -> None:
    """m = ED + ER G/(1 - ES G) of the driven port."""
    side = (terms().forward, terms().reverse)[port - 1]
    true = 0.5 * drawn(np.random.default_rng(9), SWEEPS, len(F_HZ))
    raw = side.directivity + side.reflection_tracking * true / (1.0 - side.source_match * true)
    found = correct_sweeps(terms(), raw[..., np.newaxis, np.newaxis], port)
    assert np.allclose(found[..., 0, 0], true, rtol=0.0, atol=1e-13)


def test_what_is_not_determined_is_nan_at_its_frequency_alone() -> None:
    true = 0.3 * drawn(np.random.default_rng(8), 3, len(F_HZ), 2, 2)
    raw = uncorrect(terms(), true)
    raw[1, 5, 0, 1] = complex(np.nan, np.nan)
    known = np.isfinite(correct_sweeps(terms(), raw))
    assert not known[1, 5].any() and known.sum() == known.size - 4


def test_a_one_port_calibration_does_not_correct_two_ports() -> None:
    side = terms().forward
    one = OnePortTerms(F_HZ, 50.0, side.directivity, side.source_match, side.reflection_tracking)
    with pytest.raises(ValueError, match="cannot correct a two-port sweep"):
        correct_sweeps(one, np.zeros((1, len(F_HZ), 2, 2), np.complex128))
