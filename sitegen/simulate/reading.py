"""What the analyser shows of what its probes contact: the sources of a sweep's errors, drawn.

Each source is drawn as a calibration's record declares it, a standard uncertainty of each real and
imaginary part: noise at every point, the others the same over frequency.
"""

from dataclasses import dataclass

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.simulated import SimulatedSweep
from sitegen.simulate.station import Analyser


@dataclass(frozen=True)
class Sources:
    """Standard uncertainties of a raw sweep; names as in the record."""

    noise_floor: float
    trace_noise: float
    contact_repeatability: float
    linearity: float
    cable: float

    def record(self, with_noise: bool = True) -> dict[str, object]:
        """The table 'uncertainty' of a calibration's record; else noise is left to its repeats."""
        table: dict[str, object] = {
            "contact_repeatability": self.contact_repeatability,
            "linearity": self.linearity,
            "cable": self.cable,
        }
        if with_noise:
            table |= {"noise_floor": self.noise_floor, "trace_noise": self.trace_noise}
        return table

    def contacted(self, true: ComplexArray, rng: np.random.Generator) -> ComplexArray:
        """True sweeps (..., n_freq, n, n) as each one's touchdown presents them to the tips.

        It adds to a reflection and changes both transmissions by the same share.
        """
        touched = true.copy()
        errors = self.contact_repeatability * _normal(rng, (3, *true.shape[:-3], 1))
        touched[..., 0, 0] += errors[0]
        if true.shape[-1] == 2:
            touched[..., 1, 1] += errors[1]
            touched[..., 0, 1] *= 1.0 + errors[2]
            touched[..., 1, 0] *= 1.0 + errors[2]
        return touched

    def settled(self, raw: ComplexArray, rng: np.random.Generator) -> ComplexArray:
        """Raw sweeps (..., n_freq, n, n) with cables and receivers as they are just then."""
        ports, each = raw.shape[-1], raw.shape[:-3]
        path = 1.0 + self.cable * _normal(rng, (*each, 1, ports))
        share = 1.0 + self.linearity * _normal(rng, (*each, 1, ports, ports))
        return np.asarray(raw * share * path[..., :, np.newaxis] * path[..., np.newaxis, :])

    def noisy(self, raw: ComplexArray, rng: np.random.Generator) -> ComplexArray:
        """Raw sweeps of any shape with noise at every point."""
        sigma = np.hypot(self.noise_floor, self.trace_noise * np.abs(raw))
        return np.asarray(raw + sigma * _normal(rng, raw.shape))

    def shown(self, raw: ComplexArray, rng: np.random.Generator) -> ComplexArray:
        """Raw sweeps (..., n_freq, n, n) as the analyser shows them."""
        return self.noisy(self.settled(raw, rng), rng)


USUAL = Sources(
    noise_floor=2.0e-5,
    trace_noise=3.0e-5,
    contact_repeatability=6.0e-4,
    linearity=1.0e-4,
    cable=1.0e-4,
)
"""Of a station whose probes are moved by hand."""


@dataclass(frozen=True, eq=False)
class Readings:
    """The analyser at one moment, with draws of its own."""

    analyser: Analyser
    frequency_hz: FloatArray
    hours: float
    rng: np.random.Generator
    sources: Sources = USUAL

    def raw(self, true: ComplexArray, says: str, repeats: int = 0) -> list[SimulatedSweep]:
        """Raw sweeps of one touchdown, without lifting in between.

        true: (n_freq, n, n); of one port, port 1.
        """
        touched = self.sources.contacted(true, self.rng)
        at = np.array([self.hours])
        if true.shape[-1] == 2:
            clean = self.analyser.raw(touched[np.newaxis], self.frequency_hz, at)[0]
        else:
            alone = touched[np.newaxis, :, 0, 0]
            clean = self.analyser.raw_one_port(alone, self.frequency_hz, at)[0, :, None, None]
        settled = self.sources.settled(clean, self.rng)
        return [
            SimulatedSweep(
                self.frequency_hz, self.sources.noisy(settled, self.rng), f"raw sweep, {says}"
            )
            for _ in range(1 + repeats)
        ]

    def switch_terms(self) -> tuple[SimulatedSweep, SimulatedSweep]:
        """Forward and reverse, each a one-port sweep."""
        forward, reverse = (
            SimulatedSweep(
                self.frequency_hz,
                self.sources.noisy(values.reshape(-1, 1, 1), self.rng),
                "switch term",
            )
            for values in self.analyser.ends_s(self.frequency_hz)
        )
        return forward, reverse


def _normal(rng: np.random.Generator, shape: tuple[int, ...]) -> ComplexArray:
    """Real and imaginary part each of unit variance."""
    return np.asarray(rng.standard_normal(shape) + 1j * rng.standard_normal(shape))
