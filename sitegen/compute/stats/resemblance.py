"""How many independent dies correlated dies are worth, for the correlation of two columns.

Dies near each other resemble each other, and so do dies at one place of several wafers. Where both
columns do, chance alone makes them correlate more often than n independent dies would.

Source: Clifford, Richardson and Hémon 1989, Biometrics 45:123: the variance of a correlation of two
columns that have nothing to do with each other is the sum over classes of pairs of dies, by their
distance, of N rho_x rho_y / n², with N the pairs (ordered, each die with itself too) and rho the
mean product of the class over the variance. Here pairs on one wafer and pairs of two wafers are
classes of their own, so that a signature that all wafers share counts as well. The noise of the rho
(variance 2/N of independent values) adds 2 r²/n² a class where the columns correlate by r, which is
taken off.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import fft

from sitegen.model.arrays import FloatArray

IntArray = npt.NDArray[np.int64]
CLASS_EDGES = (0.5, 1.25, 1.75, 2.5, 3.5, 5.0, 7.0, 10.0, 14.0)
"""Upper edges of the classes of distance, in distances of neighbours (`spacing` times the mean
pitch); what lies beyond the last is one class more."""


@dataclass(frozen=True, eq=False)
class Grid:
    """Where rows lie; arrays (n,)."""

    wafer: IntArray
    """From 0."""
    column: IntArray
    row: IntArray
    pitch: tuple[float, float]
    """Of columns and rows, in one unit."""


def independent_deviations(deviations: npt.ArrayLike, grid: Grid, r: npt.ArrayLike) -> FloatArray:
    """(p, p) independent deviations that the rows are worth, for each pair of columns.

    deviations: (n, p) from the wafer's mean, NaN where there is none; r: (p, p) their correlations.
    For rows without any resemblance this is about n less the wafers. NaN where a column does not
    vary.
    """
    table = np.asarray(deviations, dtype=np.float64)
    there = ~np.isnan(table)
    maps = _Maps.of(grid)
    counts: dict[bytes, FloatArray] = {}
    products = []
    for column in range(table.shape[1]):
        mask = there[:, column]
        products.append(maps.sums(np.asarray(np.where(mask, table[:, column], 0.0))))
        if mask.tobytes() not in counts:
            counts[mask.tobytes()] = np.rint(maps.sums(mask.astype(np.float64)))
    pairs = [counts[there[:, column].tobytes()] for column in range(table.shape[1])]
    some = np.asarray(there.any(axis=1), dtype=np.float64)
    everywhere = np.rint(maps.sums(some))
    return _worth(np.array(products), np.array(pairs), everywhere, np.asarray(r, dtype=np.float64))


def _worth(
    products: FloatArray, pairs: FloatArray, everywhere: FloatArray, r: FloatArray
) -> FloatArray:
    """products, pairs: (p, classes), the first class each die with itself; everywhere: (classes,).

    Pairs of dies that have both columns are taken as the same share of each class.
    """
    p = len(products)
    if not p or not everywhere[0]:
        return np.full((p, p), np.nan)
    n = pairs[:, :1]
    variance = products[:, :1] / np.maximum(n, 1)
    varies = variance > 0
    mean = products / np.maximum(pairs, 1)
    rho = np.where(varies & (pairs > 0), mean / np.where(varies, variance, 1), 0.0)[:, 1:]
    share = everywhere[1:] / everywhere[0] ** 2
    classes = int((everywhere[1:] > 0).sum())
    noise = 2 * classes * np.nan_to_num(r) ** 2 / everywhere[0] ** 2
    n_pair = np.minimum(n, n.T)
    total = 1 / np.maximum(n_pair, 1) + (rho * share) @ rho.T - noise
    least = 1 / np.maximum(n_pair, 1)
    found = 1 / np.maximum(total, 0.5 * least)
    return np.where(varies & varies.T, found, np.nan)


def spacing(grid: Grid) -> int:
    """Distance of neighbours in pitches: 1 where every die is there, more where few were chosen.

    The square root of the area of a disc that spans the columns and rows, over the dies that the
    fullest wafer has, rounded.
    """
    if not len(grid.wafer):
        return 1
    dies = np.unique(np.stack([grid.wafer, grid.row, grid.column]), axis=1)
    most = int(np.bincount(dies[0]).max())
    area = np.pi / 4 * (int(np.ptp(grid.row)) + 1) * (int(np.ptp(grid.column)) + 1)
    return max(round(float(np.sqrt(area / most))), 1)


@dataclass(frozen=True, eq=False)
class _Maps:
    """The grid of every wafer, and the class of each lag."""

    at: tuple[IntArray, IntArray, IntArray]
    """(n,) wafer, row and column of cells."""
    shape: tuple[int, int, int]
    padded: tuple[int, int]
    lag_class: IntArray
    """Class of each lag, over the padded grid; empty without rows."""

    @staticmethod
    def of(grid: Grid) -> "_Maps":
        if not len(grid.wafer):
            empty = np.zeros(0, dtype=np.int64)
            return _Maps((empty, empty, empty), (0, 0, 0), (0, 0), empty)
        apart = spacing(grid)
        # Cells of at most half the distance of neighbours: a fine grid with few dies costs little.
        cell = max(apart // 2, 1)
        row = (grid.row - grid.row.min()) // cell
        column = (grid.column - grid.column.min()) // cell
        rows, columns = int(row.max()) + 1, int(column.max()) + 1
        padded = fft.next_fast_len(2 * rows, True), fft.next_fast_len(2 * columns, True)
        dy, dx = (np.minimum(np.arange(size), size - np.arange(size)) for size in padded)
        unit = apart / cell * np.sqrt(grid.pitch[0] * grid.pitch[1])
        distance = np.hypot(dx[None, :] * grid.pitch[0], dy[:, None] * grid.pitch[1]) / unit
        lag_class = np.asarray(np.digitize(distance, CLASS_EDGES), dtype=np.int64)
        at = grid.wafer, row, column
        return _Maps(at, (int(grid.wafer.max()) + 1, rows, columns), padded, lag_class)

    def sums(self, values: FloatArray) -> FloatArray:
        """Sums of products over ordered pairs of rows: itself, one wafer by class, two wafers."""
        if not self.lag_class.size:
            return np.zeros(1)
        maps = np.zeros(self.shape)
        np.add.at(maps, self.at, values)
        spectra = fft.rfft2(maps, self.padded)
        own = np.sum(spectra.real**2 + spectra.imag**2, axis=0)
        whole = np.sum(spectra, axis=0)
        between = whole.real**2 + whole.imag**2 - own
        itself = float(values @ values)
        sums = [
            np.bincount(
                self.lag_class.ravel(),
                fft.irfft2(spectrum, self.padded).ravel(),
                len(CLASS_EDGES) + 1,
            )
            for spectrum in (own, between)
        ]
        sums[0][0] -= itself  # what is left are other rows of the same die
        return np.concatenate([[itself], *sums])
