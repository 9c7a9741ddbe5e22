"""Standards' definitions against travelling-wave formulas and scikit-rf's media."""

import numpy as np
import pytest
from skrf import Frequency
from skrf.media import DefinedGammaZ0

from sitegen.compute.rf.definitions import (
    Load,
    Offset,
    Open,
    ReflectStandard,
    Short,
    Thru,
    reflection,
    transmission,
)
from tests.compute.rf import forward as fw

BAND_HZ = fw.BAND_HZ
LOSS_OHM_PER_S = 8e9


def offset_line(delay_s: float, z0_ohm: float) -> tuple[fw.Array, fw.Array]:
    """gamma*l and Zc of the offset model (HP/Agilent note 1287-11, quoted from memory).

    Written as the skin effect's: R = K T sqrt(f/1 GHz) ohm in series and the same internal
    reactance, to first order in R over wL.
    """
    resistance_ohm = LOSS_OHM_PER_S * delay_s * np.sqrt(BAND_HZ / 1e9)
    reactance_ohm = 2 * np.pi * BAND_HZ * delay_s * z0_ohm
    gamma_l = 2j * np.pi * BAND_HZ * delay_s + (1 + 1j) * resistance_ohm / (2 * z0_ohm)
    z_c = z0_ohm * (1 + (1 - 1j) * resistance_ohm / (2 * reactance_ohm))
    return gamma_l, z_c


@pytest.mark.parametrize(
    ("standard", "gamma"),
    [
        (Short(), -np.ones(101)),
        (Open(), np.ones(101)),
        (Load(50.0), np.zeros(101)),
        (Short(3e-12), fw.short_gamma(BAND_HZ, 3e-12)),
        (Open(-6e-15), fw.open_gamma(BAND_HZ, -6e-15)),
        (Load(50.5, 4.5e-12, 2e-15), fw.load_gamma(BAND_HZ, 50.5, 4.5e-12, 2e-15)),
        (
            Short((2e-12, 1e-24, -3e-35, 1e-47)),
            fw.short_gamma(
                BAND_HZ, 2e-12 + 1e-24 * BAND_HZ - 3e-35 * BAND_HZ**2 + 1e-47 * BAND_HZ**3
            ),
        ),
        (
            Open((5e-15, -2e-26)),
            fw.open_gamma(BAND_HZ, 5e-15 - 2e-26 * BAND_HZ),
        ),
    ],
)
def test_flush_standards(standard: ReflectStandard, gamma: fw.Array) -> None:
    assert np.abs(reflection(standard, BAND_HZ, 50.0) - gamma).max() < 1e-14


def test_an_offset_short_is_the_reflection_seen_through_its_line() -> None:
    gamma_l, z_c = offset_line(5e-12, 52.0)
    line = fw.line_s(BAND_HZ, gamma_l, z_c)
    seen = fw.raw_reflection(line, fw.short_gamma(BAND_HZ, 3e-12))
    standard = Short(3e-12, Offset(5e-12, 52.0, LOSS_OHM_PER_S))
    assert np.abs(reflection(standard, BAND_HZ, 50.0) - seen).max() < 1e-12


def test_a_lossless_offset_turns_the_phase_by_twice_its_delay() -> None:
    turned = reflection(Open(0.0, Offset(4e-12)), BAND_HZ, 50.0)
    assert np.abs(turned - np.exp(-4j * np.pi * BAND_HZ * 4e-12)).max() < 1e-12


def test_a_lossy_thru_is_a_line_with_that_propagation() -> None:
    gamma_l, z_c = offset_line(7e-12, 48.0)
    s = transmission(Thru(7e-12, 48.0, LOSS_OHM_PER_S), BAND_HZ, 50.0)
    assert np.abs(s - fw.line_s(BAND_HZ, gamma_l, z_c)).max() < 1e-12


def test_a_lossy_thru_agrees_with_scikit_rf() -> None:
    gamma_l, z_c = offset_line(7e-12, 48.0)
    frequency = Frequency.from_f(BAND_HZ, unit="hz")
    medium = DefinedGammaZ0(frequency, z0_port=50.0, z0=z_c, gamma=gamma_l)
    theirs = medium.line(1.0, unit="m").s
    s = transmission(Thru(7e-12, 48.0, LOSS_OHM_PER_S), BAND_HZ, 50.0)
    assert np.abs(s - theirs).max() < 1e-10


def test_a_flush_thru_is_nothing() -> None:
    assert np.array_equal(
        transmission(Thru(), BAND_HZ[:3], 50.0), np.broadcast_to([[0, 1], [1, 0]], (3, 2, 2))
    )


def test_direct_current_sees_no_line() -> None:
    zero_hz = np.array([0.0])
    for loss_ohm_per_s in (0.0, 1e9):
        offset = Offset(1e-12, 60.0, loss_ohm_per_s)
        assert reflection(Short(1e-12, offset), zero_hz, 50.0)[0] == -1
        assert reflection(Open(1e-15, offset), zero_hz, 50.0)[0] == 1


def test_impossible_definitions_are_refused() -> None:
    for make in (
        lambda: Offset(-1e-12),
        lambda: Offset(float("nan")),
        lambda: Load(0.0),
        lambda: Short((1.0,) * 5),
        lambda: Open(()),
        lambda: Thru(1e-12, 0.0),
    ):
        with pytest.raises(ValueError, match=r"needs|has one to four"):
            make()
