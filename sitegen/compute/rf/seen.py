"""What figures are computed from at each point: S, and Y made of it once for all of them.

Slopes of a real quantity v by complex x are the c with dv = Re(sum of c dx).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from sitegen.compute.rf.entries import by_entry
from sitegen.model.arrays import ComplexArray, FloatArray

Rows = npt.NDArray[np.intp]


@dataclass(frozen=True)
class Surroundings:
    """What a figure needs to know besides S."""

    z_ref_ohm: float
    """Real reference impedance of S."""
    length_m: float | None = None
    """Of a line, from reference plane to reference plane."""


@dataclass(frozen=True, eq=False)
class Seen:
    """Two-ports at their frequencies."""

    s: ComplexArray
    """S11, S12, S21, S22, (4, ..., n_f)."""
    frequency_hz: FloatArray
    around: Surroundings
    _portions: dict[tuple[int, int], "Seen"] = field(default_factory=dict, init=False)

    def of(self, rows: slice | Rows) -> "Seen":
        """Some of the sweeps."""
        if not isinstance(rows, slice):
            return Seen(self.s[:, rows], self.frequency_hz, self.around)
        key = (rows.start, rows.stop)
        if key not in self._portions:
            self._portions[key] = Seen(self.s[:, rows], self.frequency_hz, self.around)
        return self._portions[key]

    def part(self, points: slice) -> "Seen":
        """The same at some of the frequencies."""
        return Seen(self.s[..., points], self.frequency_hz[points], self.around)

    @property
    def length_m(self) -> float:
        """NaN where none is stated."""
        return np.nan if self.around.length_m is None else self.around.length_m

    @cached_property
    def angular(self) -> FloatArray:
        """2 pi f."""
        return 2.0 * np.pi * self.frequency_hz

    @cached_property
    def crossed(self) -> ComplexArray:
        """S12 S21."""
        return np.asarray(self.s[1] * self.s[2])

    @cached_property
    def determinant(self) -> ComplexArray:
        """S11 S22 - S12 S21."""
        return np.asarray(self.s[0] * self.s[3] - self.crossed)

    @cached_property
    def driven(self) -> ComplexArray:
        """(1 - S11)(1 + S22) + S12 S21, what Y11 is proportional to."""
        return np.asarray((1.0 - self.s[0]) * (1.0 + self.s[3]) + self.crossed)

    @cached_property
    def per_admittance(self) -> ComplexArray:
        """1/(z ((1 + S11)(1 + S22) - S12 S21)), which every entry of Y has."""
        under = (1.0 + self.s[0]) * (1.0 + self.s[3])
        under -= self.crossed
        under *= self.around.z_ref_ohm
        with np.errstate(all="ignore"):
            return np.asarray(1.0 / under)

    @cached_property
    def y11(self) -> ComplexArray:
        """In siemens, as `two_port.admittance`."""
        with np.errstate(all="ignore"):
            return np.asarray(self.driven * self.per_admittance)

    @cached_property
    def y12(self) -> ComplexArray:
        """Likewise."""
        with np.errstate(all="ignore"):
            return np.asarray(-2.0 * self.s[1] * self.per_admittance)

    @cached_property
    def y(self) -> ComplexArray:
        """Y11, Y12, Y21, Y22."""
        y = np.empty_like(self.s)
        y[0], y[1] = self.y11, self.y12
        with np.errstate(all="ignore"):
            np.multiply(-2.0 * self.s[2], self.per_admittance, out=y[2])
            y[3] = (1.0 + self.s[0]) * (1.0 - self.s[3])
            y[3] += self.crossed
            y[3] *= self.per_admittance
        return y

    @cached_property
    def z11(self) -> ComplexArray:
        """1/Y11, in ohm."""
        with np.errstate(all="ignore"):
            return np.asarray(1.0 / self.y11)

    @cached_property
    def across(self) -> ComplexArray:
        """1 + z Y by entry, as in dY = -(1 + z Y) dS (1 + z Y) / 2z."""
        across = self.around.z_ref_ohm * self.y
        across[0] += 1.0
        across[3] += 1.0
        return across

    def by_s(self, by_y: Mapping[tuple[int, int], ComplexArray]) -> ComplexArray:
        """Slopes by S, (4, ..., n_f), from those by some entries of Y."""
        scale = -0.5 / self.around.z_ref_ohm
        across = self.across
        found = np.zeros(self.s.shape, np.complex128)
        for row in (0, 1):
            mine = [(by_y[row, column], column) for column in (0, 1) if (row, column) in by_y]
            for column in (0, 1) if mine else ():
                # slope (1 + z Y)', one of its rows
                turned = sum(slope * across[2 * column + place] for slope, place in mine)
                turned = scale * turned
                for into in (0, 1):
                    found[2 * into + column] += across[2 * row + into] * turned
        return found


def seen(s: ComplexArray, frequency_hz: FloatArray, around: Surroundings) -> Seen:
    """Of S (..., n_f, 2, 2)."""
    return Seen(by_entry(s), frequency_hz, around)
