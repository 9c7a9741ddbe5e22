"""Restricted likelihood of nested data from whole covariance matrices, for comparison.

Shares no code with the program: the covariance of all values is written out, and its least
deviance is looked for by a general search over logarithms of the components and over those of them
that are zero.
"""

from collections.abc import Sequence
from itertools import product

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq, minimize

FloatArray = npt.NDArray[np.float64]


class Dense:
    """Values nested in groups; labels of each level unique over all values, outermost first."""

    def __init__(self, labels: Sequence[npt.ArrayLike], values: npt.ArrayLike) -> None:
        self.y = np.asarray(values, dtype=np.float64)
        self.parts = [np.eye(len(self.y))]
        for label in reversed(labels):
            one = np.asarray(label)
            self.parts.append((one[:, None] == one[None, :]).astype(np.float64))

    def deviance(self, components: FloatArray, restricted: bool = True) -> float:
        """-2 log likelihood; components (k,), innermost first."""
        n = len(self.y)
        covariance = np.tensordot(components, np.array(self.parts), 1)
        sign, logarithm = np.linalg.slogdet(covariance)
        assert sign > 0
        inverse = np.linalg.inv(covariance)
        one = np.ones(n)
        precision = one @ inverse @ one
        rest = self.y - (one @ inverse @ self.y) / precision
        total = float(logarithm + rest @ inverse @ rest)
        if restricted:
            return float(total + np.log(precision) + (n - 1) * np.log(2 * np.pi))
        return float(total + n * np.log(2 * np.pi))

    def least(
        self, fixed: dict[int, float] | None = None, restricted: bool = True
    ) -> tuple[float, FloatArray]:
        """Least deviance over the components that are not fixed, and the components."""
        fixed = fixed or {}
        outer = [level for level in range(1, len(self.parts)) if level not in fixed]
        every = []
        for there in product((True, False), repeat=len(outer)):
            open_ = [level for level, yes in zip(outer, there, strict=True) if yes]
            every.append(self._search([*open_, *([] if 0 in fixed else [0])], fixed, restricted))
        return min(every, key=lambda one: one[0])

    def _search(
        self, open_: list[int], fixed: dict[int, float], restricted: bool
    ) -> tuple[float, FloatArray]:
        """Over these components; those neither open nor fixed are zero."""

        def components(logarithms: FloatArray) -> FloatArray:
            found = np.zeros(len(self.parts))
            found[list(fixed)] = list(fixed.values())
            found[open_] = float(np.var(self.y)) * np.exp(logarithms)
            return found

        if not open_:
            return self.deviance(components(np.zeros(0)), restricted), components(np.zeros(0))

        def height(logarithms: FloatArray) -> float:
            return self.deviance(components(logarithms), restricted)

        start: FloatArray = np.full(len(open_), -1.0)
        search = minimize(height, start, method="Nelder-Mead", tol=1e-10)
        return float(search.fun), components(search.x)

    def interval(self, level: int, rise: float) -> tuple[float, float]:
        """Where the profile of a component has risen so far; zero where it never does."""
        lowest, components = self.least()
        estimate = components[level]
        scale = float(np.var(self.y))

        def height(logarithm: float) -> float:
            return self.least({level: float(np.exp(logarithm))})[0] - lowest - rise

        start = np.log(max(estimate, 1e-9 * scale))
        upper = np.exp(brentq(height, start, np.log(1e4 * scale), xtol=1e-8))
        if level > 0 and (estimate < 1e-8 * scale or self.least({level: 0.0})[0] - lowest <= rise):
            return 0.0, float(upper)
        return float(np.exp(brentq(height, np.log(1e-9 * scale), start, xtol=1e-8))), float(upper)
