"""Touchstone files that come with scikit-rf, read and corrected by the program.

`ind.s2p`, `open.s2p`, `short.s2p`: a simulated inductor with pads and its two dummies, 1 to 10 GHz.
`ro,1.s1p` to `ro,3.s1p`: a radiating open, measured three times, 500 to 750 GHz.
"""

from pathlib import Path

import numpy as np
import pytest
import skrf
from skrf.calibration.deembedding import OpenShort

from sitegen.compute.rf.checks import repeatability
from sitegen.compute.rf.correct import correct
from sitegen.compute.rf.figures import FIGURES, figure_at
from sitegen.model.loaded import Sweep
from sitegen.read.files import Asked, Intake
from sitegen.read.touchstone import read_touchstone
from tests.compute.rf import forward as fw
from tests.compute.rf.solved import lrrm

DATA = Path(skrf.__file__).parent / "data"


def read(name: str, ports: int) -> Sweep:
    intake = Intake(DATA)
    sweep = read_touchstone(intake, name, Asked("record.toml", "file"), [ports], 50.0)
    assert intake.faults == [] and sweep is not None
    return sweep


@pytest.mark.parametrize("name", ["ind.s2p", "open.s2p", "short.s2p", "ro,1.s1p"])
def test_they_are_read_as_scikit_rf_reads_them(name: str) -> None:
    ports = int(name[-2])
    sweep, other = read(name, ports), skrf.Network(str(DATA / name))
    assert np.allclose(sweep.frequency_hz, other.f, rtol=1e-12)
    assert np.array_equal(sweep.s, other.s)


def test_repeats_that_were_measured_have_their_pooled_deviation() -> None:
    """.00170017, computed by an independent program from the same three files."""
    sweeps = [read(f"ro,{place}.s1p", 1) for place in (1, 2, 3)]
    found = repeatability(np.stack([one.s[:, 0, 0] for one in sweeps]), sweeps[0].frequency_hz)
    assert found.pooled == pytest.approx(0.00170017, abs=5e-9)


def test_the_de_embedding_sample_corrected_through_a_simulated_station() -> None:
    """What the files hold is measured raw by a station that only the forward model knows, and
    corrected with an LRRM calibration of it. Open and short taken off as scikit-rf's `OpenShort`
    does (Koolen et al., BCTM 1991, quoted from memory) then leave the inductor that it takes from
    the files themselves. It is a series element, without Z-parameters: rounding costs six digits.
    """
    names = ("ind", "open", "short")
    sweeps = [read(f"{name}.s2p", 2) for name in names]
    frequency_hz = np.asarray(sweeps[0].frequency_hz, dtype=np.float64)
    at = fw.station(2, frequency_hz)
    terms = lrrm(at, frequency_hz).terms
    corrected = [correct(terms, fw.raw_sweep(at, one.s)) for one in sweeps]
    for mine, one in zip(corrected, sweeps, strict=True):
        assert np.abs(mine - one.s).max() < 1e-10

    whole, open_, short = (skrf.Network(f=frequency_hz, s=s, f_unit="Hz") for s in corrected)
    found = OpenShort(open_, short).deembed(whole)
    whole, open_, short = (skrf.Network(str(DATA / f"{name}.s2p")) for name in names)
    expected = OpenShort(open_, short).deembed(whole)
    assert np.abs(found.s - expected.s).max() < 1e-6

    figure = FIGURES["inductance"]
    at_5_ghz = figure_at(figure, found.s, frequency_hz, 5e9, 50.0)
    assert at_5_ghz == pytest.approx(
        float((1.0 / expected.y[4, 0, 0]).imag / (2 * np.pi * 5e9)), rel=1e-5
    )
