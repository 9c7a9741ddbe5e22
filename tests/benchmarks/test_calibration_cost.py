"""What a calibration's evidence costs, as a ratio to scikit-rf's bare solution of the same run.

LRRM, 401 points. Bare: scikit-rf's LRRM with a fitted inductance, from networks that are ready.
Here: solved, every source of uncertainty propagated, compared with the calibration before it,
budgets made and checks judged; drawings and pages apart, and no Monte Carlo.
"""

import warnings
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from statistics import median

import numpy as np
from skrf import Frequency, Network
from skrf.calibration import LRRM

from sitegen.compute.budgets import with_budgets
from sitegen.compute.calibration import judged, solve
from sitegen.compute.history import with_history
from sitegen.compute.perturbations import with_uncertainty
from sitegen.model.loaded import LoadedCalibration
from tests.benchmarks.processor_time import times_s
from tests.compute import simulated_calibration as sc
from tests.compute.events import hour, instrument
from tests.compute.rf import forward as fw

FREQUENCY_HZ = np.linspace(10e6, 110e9, 401)
CALIBRATIONS = 4
MOST_BARE_SOLUTIONS = 40.0


def calibrations() -> list[LoadedCalibration]:
    """An hour apart, every source declared."""
    sizes, made = replace(sc.USUAL, load_ph=0.0), []
    for number in range(CALIBRATIONS):
        of = sc.calibration(
            "LRRM",
            fw.station(3, FREQUENCY_HZ),
            FREQUENCY_HZ,
            sizes,
            np.random.default_rng(number),
            id=f"CAL-{number}",
            at=hour(0.0) + timedelta(hours=number),
        )
        made.append(of)
    return made


def bare_solution(of: LoadedCalibration) -> Callable[[], object]:
    """scikit-rf's own solution of the same sweeps."""
    frequency = Frequency.from_f(FREQUENCY_HZ, unit="hz")

    def network(s: fw.Array) -> Network:
        return Network(frequency=frequency, s=s, z0=50.0)

    raw = {one.contact.file.removesuffix(".s2p"): network(one.sweep.s) for one in of.standards}
    short, open_ = fw.short_gamma(FREQUENCY_HZ, 3e-12), fw.open_gamma(FREQUENCY_HZ, -6e-15)
    load = fw.load_gamma(FREQUENCY_HZ, 50.0, 0.0)
    ideals = [fw.ideal_line(FREQUENCY_HZ, 1.5e-12)]
    ideals += [fw.pair(one, one) for one in (short, open_, load)]
    assert of.switch_forward is not None and of.switch_reverse is not None
    switch = [network(of.switch_forward), network(of.switch_reverse)]

    def run() -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            LRRM(
                measured=[raw[name] for name in ("thru", "short", "open", "load")],
                ideals=[network(one) for one in ideals],
                switch_terms=switch,
                match_fit="l",
            ).run()

    return run


def test_a_calibration_with_all_its_evidence_against_the_bare_solution() -> None:
    made = calibrations()

    def evidence() -> None:
        related = with_history([with_uncertainty(solve(one, instrument())) for one in made])
        for one in related:
            done = judged(with_budgets(one)).result
            assert done.outcome == "usable" and done.budgets
        assert sum(bool(one.result.comparisons) for one in related) == CALIBRATIONS - 1

    evidence()
    bare_s = median(times_s(bare_solution(made[0]), 5))
    # the first has nothing to be compared with: its share is laid on the others
    evidence_s = median(times_s(evidence, 5)) / (CALIBRATIONS - 1)
    print(
        f"evidence {evidence_s * 1e3:.0f} ms, bare {bare_s * 1e3:.1f} ms: {evidence_s / bare_s:.1f}"
    )
    assert evidence_s <= MOST_BARE_SOLUTIONS * bare_s
