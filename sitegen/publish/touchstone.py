"""Text of a Touchstone version 1 file."""

import numpy as np

from sitegen.model.arrays import ComplexArray, FloatArray


def touchstone_text(frequency_hz: FloatArray, s: ComplexArray, says: str, z_ref_ohm: float) -> str:
    """One line a frequency: hertz, then real and imaginary parts with seven significant digits.

    frequency_hz: (n_freq,), increasing. s: (n_freq, n, n) with n 1 or 2, receiving port first; two
    ports stand in the order S11 S21 S12 S22. Each line of `says` becomes a comment.
    """
    columns = s.transpose(0, 2, 1).reshape(len(frequency_hz), -1)
    numbers = np.stack([columns.real, columns.imag], axis=-1).reshape(len(frequency_hz), -1)
    lines = [f"! {line}" for line in says.splitlines()]
    lines.append(f"# Hz S RI R {z_ref_ohm:g}")
    for hertz, row in zip(frequency_hz.tolist(), numbers.tolist(), strict=True):
        lines.append(f"{hertz:.12g} " + " ".join(f"{part:.6e}" for part in row))
    return "\n".join(lines) + "\n"
