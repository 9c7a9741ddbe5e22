"""Multiline TRL is determined where its own uncertainty says so, against simulated calibrations."""

from dataclasses import replace

import numpy as np

from sitegen.compute.calibration import SolvedCalibration, solve
from sitegen.compute.certainty import where_certain
from sitegen.compute.perturbations import with_uncertainty
from sitegen.compute.rf.correct import correct
from tests.compute import events
from tests.compute import simulated_calibration as sc
from tests.compute.rf import forward as fw

FREQUENCY_HZ = np.geomspace(20e6, 60e9, 25)
AT = fw.station(4, FREQUENCY_HZ)
SIZES = replace(sc.USUAL, contact=1e-4, cable=1e-4, linearity=1e-4, capacitance_share=1e-3)
BOUNDS = {"line_u_max": 0.01}


def drawn(seed: int, method: str = "multiline TRL") -> SolvedCalibration:
    loaded = sc.calibration(
        method, AT, FREQUENCY_HZ, SIZES, np.random.default_rng(seed), bounds=BOUNDS
    )
    return solve(loaded, events.station().instruments[0])


def test_low_frequencies_are_lost_where_simulated_calibrations_scatter_too_much() -> None:
    kept = where_certain(with_uncertainty(drawn(0)))
    assert kept.solution is not None and kept.terms is not None
    certain = kept.solution.determined
    matches = np.zeros((len(FREQUENCY_HZ), 2, 2), np.complex128)
    raw = fw.raw_sweep(AT, matches)
    found = []
    for seed in range(60):
        terms = drawn(seed).terms
        assert terms is not None
        found.append(correct(terms, raw) - matches)
    spread = np.sqrt(0.5 * np.mean(np.abs(np.array(found)) ** 2, axis=0)).max(axis=(1, 2))
    # 60 draws know a spread to 9 % (k = 1); the edge itself may fall to either side
    assert not certain[spread > 1.4 * BOUNDS["line_u_max"]].any()
    assert certain[spread < 0.7 * BOUNDS["line_u_max"]].all()
    assert 0 < certain.sum() < len(certain)


def test_what_is_lost_is_lost_everywhere_and_told() -> None:
    kept = where_certain(with_uncertainty(drawn(0)))
    assert kept.solution is not None and kept.uncertainty is not None
    lost = ~kept.solution.determined
    assert kept.result.determined is kept.solution.determined
    assert all(np.isnan(term.values[lost]).all() for term in kept.result.terms)
    assert all(np.isfinite(term.values[~lost]).all() for term in kept.result.terms)
    assert "standard uncertainty exceeds 0.01" in kept.result.notes[-1]


def test_other_methods_and_records_without_uncertainty_stay_as_they_are() -> None:
    trl = with_uncertainty(drawn(0, "TRL"))
    assert where_certain(trl) is trl
    plain = drawn(0)
    assert where_certain(plain) is plain
