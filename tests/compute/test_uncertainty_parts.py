"""Parts of an uncertainty in quadrature."""

import numpy as np
import pytest

from sitegen.compute.uncertainty_parts import quadrature


def test_the_end_gauge_of_the_gum() -> None:
    """JCGM 100:2008, H.1: 25, 9.7, 2.9 and 16.6 nm give 32 nm (quoted from memory); the GUM's
    effective degrees of freedom have no counterpart here, where k is declared."""
    (u,) = quadrature(*(np.array([part]) for part in (25.0, 9.7, 2.9, 16.6)))
    assert u == pytest.approx(31.67, abs=0.005)
    assert round(float(u)) == 32


def test_what_is_not_stated_adds_nothing_and_stays_where_nothing_is() -> None:
    found = quadrature(np.array([3.0, np.nan, np.nan]), np.array([4.0, 5.0, np.nan]))
    assert found[:2] == pytest.approx([5.0, 5.0])
    assert np.isnan(found[2])
