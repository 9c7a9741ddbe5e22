"""Many measured curves as arrays, turned so that the signs of an n-type device hold."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from sitegen.model.arrays import BoolArray, FloatArray

NEAR = 1e-5
"""Two set points that differ by less, as a share, are one: columns may be float32."""


@dataclass(frozen=True, eq=False)
class Curves:
    """n curves of up to p points. Of a p-type device every voltage and current is negated.

    swept, measured: (n, p), V or A, NaN beyond a curve's end, in the order of measurement.
    """

    swept: FloatArray
    measured: FloatArray
    usable: BoolArray
    """(n, p): a number, not below the floor, the source not in compliance."""
    in_compliance: BoolArray
    """(n, p)."""
    below_floor: BoolArray
    """(n, p)."""
    drain_v: FloatArray
    """(n,) drain-source voltage, NaN where it is not known or is the swept axis."""
    temperature_k: FloatArray
    """(n,)."""
    swept_is_current: bool = False
    measured_is_current: bool = True
    links: int | None = None
    """Contacts in series, of a chain of contacts."""
    read: "Curves | None" = None
    """The curves as they were read, where these are moved: they say what lies in a window."""

    @property
    def drain_off_v(self) -> FloatArray:
        """(n,) how far `drain_v` was moved."""
        return np.nan_to_num(self.drain_v - self.as_read().drain_v)

    def moved(
        self, measured: FloatArray, swept: FloatArray, drain_v: FloatArray | None = None
    ) -> "Curves":
        """The same points at other readings; what is usable and in a window is held.

        measured, swept: (n, p), and drain_v: (n,): what is added, in V or A.
        """
        return replace(
            self,
            measured=self.measured + measured,
            swept=self.swept + swept,
            drain_v=self.drain_v if drain_v is None else self.drain_v + drain_v,
            read=self.as_read(),
        )

    def as_read(self) -> "Curves":
        """The curves before they were moved."""
        return self if self.read is None else self.read

    def in_swept_window(self, window: tuple[float, float]) -> BoolArray:
        """(n, p): points whose swept value lies in a window, its ends included."""
        slack = NEAR * (window[1] - window[0])  # columns may be float32
        swept = self.as_read().swept
        with np.errstate(invalid="ignore"):
            return np.asarray((swept >= window[0] - slack) & (swept <= window[1] + slack))

    def in_measured_window(self, window: tuple[float, float]) -> BoolArray:
        """(n, p): points whose reading lies in a window."""
        measured = self.as_read().measured
        with np.errstate(invalid="ignore"):
            return np.asarray((measured >= window[0]) & (measured <= window[1]))


@dataclass(frozen=True, eq=False)
class Ordered:
    """The points of curves that count, in the order of the swept axis, without gaps.

    x, y: (n, p), NaN from index `count` on.
    """

    x: FloatArray
    y: FloatArray
    count: npt.NDArray[np.int64]
    """(n,)."""
    place: npt.NDArray[np.int64]
    """(n, p): index of each in the original order."""

    @property
    def there(self) -> BoolArray:
        """(n, p): which places hold a point."""
        return np.asarray(np.arange(self.x.shape[1]) < self.count[:, None])


def measured_points(curves: Curves) -> BoolArray:
    """(n, p): points with both numbers, on the first leg of a sweep that turns back."""
    both = np.isfinite(curves.swept) & np.isfinite(curves.measured)
    steps = np.diff(curves.swept, axis=1)
    first = (
        np.sign(steps[np.arange(len(steps)), np.argmax(steps != 0, axis=1)])
        if len(steps) and steps.shape[1]
        else np.zeros(len(steps))
    )
    with np.errstate(invalid="ignore"):
        back = np.sign(steps) == -first[:, None]
    turned = np.concatenate(
        [np.zeros((len(both), 1), dtype=bool), np.logical_or.accumulate(back, axis=1)], axis=1
    )
    return np.asarray(both & ~turned)


def ordered(x: FloatArray, y: FloatArray, chosen: BoolArray, as_measured: bool = False) -> Ordered:
    """The chosen points by increasing x, or in the order in which they were measured."""
    rank = np.broadcast_to(np.arange(x.shape[1], dtype=np.float64), x.shape) if as_measured else x
    place = np.argsort(np.where(chosen, rank, np.inf), axis=1, kind="stable")
    count = chosen.sum(axis=1)
    there = np.arange(x.shape[1]) < count[:, None]
    return Ordered(
        np.where(there, np.take_along_axis(x, place, axis=1), np.nan),
        np.where(there, np.take_along_axis(y, place, axis=1), np.nan),
        count,
        place,
    )


def original(points: Ordered, used: BoolArray) -> BoolArray:
    """Which points of the original order are used; used: (n, p) of the ordered ones."""
    found = np.zeros(used.shape, dtype=bool)
    np.put_along_axis(found, points.place, used & points.there, axis=1)
    return found
