"""Verification structures: masks, references measured earlier, and what a line promises."""

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray
from sitegen.model.simulated import SimulatedSweep
from sitegen.simulate.standards import LIGHT_M_PER_S, Medium


def mask(
    parameter: str, quantity: str, points: tuple[tuple[float, float], ...]
) -> dict[str, object]:
    """A mask as a record has it."""
    return {"parameter": parameter, "quantity": quantity, "points": [list(one) for one in points]}


def measured_reference(
    name: str, frequency_hz: FloatArray, true: ComplexArray, u: float, seed: tuple[int, ...]
) -> SimulatedSweep:
    """A reference sweep (n_freq, n, n): the truth, each part with a draw of `u` at each point."""
    rng = np.random.default_rng(seed)
    errors = rng.standard_normal(true.shape) + 1j * rng.standard_normal(true.shape)
    return SimulatedSweep(
        frequency_hz, true + u * errors, f"corrected sweep of the {name} at acceptance"
    )


def line_quantities(medium: Medium, frequency_hz: float) -> list[dict[str, object]]:
    """Effective permittivity, attenuation and phase per length of a line at one frequency."""
    at = np.array([frequency_hz])
    gamma = complex(medium.propagation_per_m(at)[0])
    permittivity = (gamma.imag * LIGHT_M_PER_S / (2 * np.pi * frequency_hz)) ** 2
    attenuation = gamma.real * 20 / np.log(10) * 1e-3
    phase = float(np.degrees(gamma.imag) * 1e-3)
    return [
        {
            "quantity": quantity,
            "frequency_hz": frequency_hz,
            "reference": round(float(value), 4),
            "reference_u": reference_u,
            "tolerance": tolerance,
        }
        for quantity, value, reference_u, tolerance in (
            ("effective permittivity", permittivity, 0.01, 0.2),
            ("attenuation db per mm", attenuation, 0.01, 0.15),
            ("phase deg per mm", phase, 0.3, 4.0),
        )
    ]
