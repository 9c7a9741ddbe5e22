"""Touchstone files written for tests, right ones and ones whose option line is wrong."""

import numpy as np
import numpy.typing as npt

Reals = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
HZ = {"Hz": 1.0, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9}


def pairs_of(s: Complexes, written_as: str) -> Reals:
    """The two numbers of each S-parameter: shape (..., 2)."""
    if written_as == "RI":
        return np.stack([s.real, s.imag], axis=-1)
    size = np.abs(s) if written_as == "MA" else 20 * np.log10(np.abs(s))
    return np.stack([size, np.degrees(np.angle(s))], axis=-1)


def touchstone(
    frequency_hz: Reals,
    s: Complexes,
    written_as: str = "RI",
    option: str | None = None,
    *,
    unit: str = "Hz",
    version_2: bool = False,
    order: str = "21_12",
    remark: str = "",
    z_ref_ohm: float = 50.0,
    line_end: str = "\n",
) -> bytes:
    """A file of s, shape (n_freq, n_port, n_port), receiving port first.

    `written_as` is what the numbers are (RI, MA, DB), `option` what the option line says of them;
    `remark` ends each line of numbers, such as "! 1".
    """
    ports = s.shape[-1]
    by_column = not version_2 or order == "21_12"
    flat = (s.transpose(0, 2, 1) if by_column else s).reshape(len(s), -1)
    numbers = pairs_of(flat, written_as).reshape(len(s), -1)
    lines = [f"! written for a test, {ports} ports"]
    lines += ["[Version] 2.0"] if version_2 else []
    lines.append(f"# {unit} S {option or written_as} R {z_ref_ohm:g}")
    if version_2:
        lines += [f"[Number of Ports] {ports}"]
        lines += [f"[Two-Port Data Order] {order}"] if ports == 2 else []
        lines += [f"[Number of Frequencies] {len(s)}", "[Network Data]"]
    for f, row in zip(frequency_hz / HZ[unit], numbers, strict=True):
        words = [f"{f:.12g}", *(f"{number:.9g}" for number in row)]
        lines.append(" ".join(words) + remark)
    lines += ["[End]"] if version_2 else []
    return (line_end.join(lines) + line_end).encode()


def reflection(frequency_hz: Reals, size: float = 0.9, delay_s: float = 8e-12) -> Complexes:
    """One port at the end of a line, shape (n_freq, 1, 1)."""
    gamma = -size * np.exp(-2j * np.pi * frequency_hz * 2 * delay_s)
    return np.asarray(gamma[:, None, None], np.complex128)


def line(frequency_hz: Reals, size: float = 0.98, delay_s: float = 6e-12) -> Complexes:
    """A passive line with some mismatch, shape (n_freq, 2, 2)."""
    turn = np.exp(-2j * np.pi * frequency_hz * delay_s)
    s = np.empty((len(frequency_hz), 2, 2), np.complex128)
    s[:, 0, 0] = 0.05 * (1 - turn**2) + 0.002
    s[:, 1, 1] = 0.04 * (1 - turn**2) - 0.003j
    s[:, 1, 0] = size * turn
    s[:, 0, 1] = size * turn * 1.001
    return s


def db_marked_as_ri(frequency_hz: Reals, s: Complexes) -> bytes:
    """dB and angle under the option RI."""
    return touchstone(frequency_hz, s, "DB", "RI")


def ma_marked_as_ri(frequency_hz: Reals, s: Complexes) -> bytes:
    """Magnitude and angle under the option RI."""
    return touchstone(frequency_hz, s, "MA", "RI")


def ri_marked_as_ma(frequency_hz: Reals, s: Complexes) -> bytes:
    """Real and imaginary parts under the option MA."""
    return touchstone(frequency_hz, s, "RI", "MA")


def db_marked_as_ma(frequency_hz: Reals, s: Complexes) -> bytes:
    """dB and angle under the option MA."""
    return touchstone(frequency_hz, s, "DB", "MA")


def ma_marked_as_db(frequency_hz: Reals, s: Complexes) -> bytes:
    """Magnitude and angle under the option DB; told of two ports only."""
    return touchstone(frequency_hz, s, "MA", "DB")


def ri_marked_as_db(frequency_hz: Reals, s: Complexes) -> bytes:
    """Real and imaginary parts under the option DB; told of two ports only."""
    return touchstone(frequency_hz, s, "RI", "DB")
