"""Die numbers from another origin: what makes all dies fit the wafer where most do not.

A guess is made only from dies that fix it: at least `FEWEST`, not on one line, most of them off.
"""

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from sitegen.model.arrays import BoolArray
from sitegen.model.campaign import Layout
from sitegen.model.device import Die
from sitegen.model.geometry import full_dies, is_on_wafer
from sitegen.model.loaded import Transform

FEWEST = 5
"""From fewer dies no origin is inferred: a few wrong numbers fit somewhere by chance."""
MOST_OFF = 0.5
"""More than this share of the dies must be off the wafer, or off the plan."""
LEAST_OF_PLAN = 0.5
"""Dies that lie on the wafer and off the plan must make up this share of the plan once they are
moved onto it: a few dies beside the plan can be meant."""
EDGE_DIES = 2
"""How many dies beyond the whole ones can have their centre on the wafer."""

Matrix = tuple[tuple[int, int], tuple[int, int]]
_WAYS: tuple[tuple[str, Matrix], ...] = (
    ("", ((1, 0), (0, 1))),
    ("mirrored left to right", ((-1, 0), (0, 1))),
    ("mirrored top to bottom", ((1, 0), (0, -1))),
    ("turned by 180°", ((-1, 0), (0, -1))),
    ("turned by 90°", ((0, -1), (1, 0))),
    ("turned by 270°", ((0, 1), (-1, 0))),
    ("die_x and die_y exchanged", ((0, 1), (1, 0))),
    ("mirrored along a diagonal", ((0, -1), (-1, 0))),
)


@dataclass(frozen=True)
class OtherNumbers:
    """What is likely wrong with the die numbers of a table."""

    found: str
    """As a phrase."""
    remedy: str


@dataclass(frozen=True)
class _Grid:
    """A set of dies that is asked often."""

    cells: BoolArray
    start: Die

    def all_in(self, x: np.ndarray, y: np.ndarray) -> bool:
        """Whether every die (x, y) belongs to the set."""
        i, j = x - self.start[0], y - self.start[1]
        height, width = self.cells.shape
        if i.min() < 0 or j.min() < 0 or i.max() >= width or j.max() >= height:
            return False
        return bool(self.cells[j, i].all())


def other_numbers(
    layout: Layout,
    transform: Transform,
    x: np.ndarray,
    y: np.ndarray,
    planned: Collection[Die] | None,
) -> OtherNumbers | None:
    """What makes all dies of a table fit where most do not; None where they fit or nothing does.

    x, y: shape (n,), die numbers as they stand in the table. transform: from its frame to the
    layout. planned: dies of the plan in the layout; None: it names none.
    """
    dies = np.unique(np.column_stack([x, y]), axis=0)
    if len(dies) < FEWEST or _is_line(dies):
        return None
    now = _moved(transform, dies)
    on_wafer = is_on_wafer(layout, now[:, 0], now[:, 1])
    off_wafer = 1.0 - float(np.mean(on_wafer)) > MOST_OFF
    if off_wafer:
        aims, place = _aims(layout, planned), "the wafer"
    elif planned and on_wafer.all() and _is_off_plan(now, planned, len(dies)):
        aims, place = [frozenset(planned)], "the plan"
    else:
        return None
    for with_shift in (False, True):
        for aim in aims:
            for way, matrix in _WAYS:
                turned = _moved(transform, dies @ np.array(matrix).T)
                shifts = _shifts(turned, aim) if with_shift else _none(turned, aim)
                if shifts:
                    return _told(way, shifts, transform, turned, aim, place)
    return None


def _aims(layout: Layout, planned: Collection[Die] | None) -> list[frozenset[Die]]:
    """Where dies can be: the plan's, else whole dies, else dies whose centre is on the wafer."""
    whole = full_dies(layout)
    aims = [frozenset(planned)] if planned else []
    if whole:
        listed = np.array(whole)
        (x0, y0), (x1, y1) = listed.min(axis=0) - EDGE_DIES, listed.max(axis=0) + EDGE_DIES
        y, x = (one.ravel() for one in np.mgrid[y0 : y1 + 1, x0 : x1 + 1])
        keep = is_on_wafer(layout, x, y)
        aims += [
            frozenset(whole),
            frozenset(zip(x[keep].tolist(), y[keep].tolist(), strict=True)),
        ]
    return aims


def _is_off_plan(now: np.ndarray, planned: Collection[Die], number: int) -> bool:
    in_plan = np.array([(x, y) in planned for x, y in now.tolist()], np.bool_)
    return 1.0 - float(np.mean(in_plan)) > MOST_OFF and number >= LEAST_OF_PLAN * len(planned)


def _is_line(dies: np.ndarray) -> bool:
    (x0, y0), *_ = dies.tolist()
    away = dies - (x0, y0)
    first = away[np.argmax(np.abs(away).sum(axis=1))]
    return bool((away[:, 0] * first[1] == away[:, 1] * first[0]).all())


def _moved(transform: Transform, dies: np.ndarray) -> np.ndarray:
    return np.asarray(dies @ np.array(transform.matrix).T + np.array(transform.shift))


def _grid(aim: Collection[Die]) -> _Grid:
    listed = np.array(sorted(aim), dtype=np.int64).reshape(-1, 2)
    start = listed.min(axis=0)
    width, height = listed.max(axis=0) - start + 1
    cells = np.zeros((int(height), int(width)), np.bool_)
    cells[listed[:, 1] - start[1], listed[:, 0] - start[0]] = True
    return _Grid(cells, (int(start[0]), int(start[1])))


def _none(dies: np.ndarray, aim: Collection[Die]) -> list[Die]:
    return [(0, 0)] if aim and _grid(aim).all_in(dies[:, 0], dies[:, 1]) else []


def _shifts(dies: np.ndarray, aim: Collection[Die]) -> list[Die]:
    """Every shift of the layout that puts all dies into `aim`."""
    if not aim or len(dies) > len(aim):
        return []
    grid = _grid(aim)
    height, width = grid.cells.shape
    least, most = dies.min(axis=0), dies.max(axis=0)
    room_x, room_y = width - 1 - int(most[0] - least[0]), height - 1 - int(most[1] - least[1])
    found = []
    for j in range(room_y + 1):
        for i in range(room_x + 1):
            shift = grid.start[0] + i - int(least[0]), grid.start[1] + j - int(least[1])
            if grid.all_in(dies[:, 0] + shift[0], dies[:, 1] + shift[1]):
                found.append(shift)
    return found


def _told(
    way: str,
    shifts: list[Die],
    transform: Transform,
    dies: np.ndarray,
    aim: Collection[Die],
    place: str,
) -> OtherNumbers:
    (a, b), (c, d) = transform.matrix
    centre = np.array(sorted(aim)).mean(axis=0) - dies.mean(axis=0)
    best = min(shifts, key=lambda shift: (float(np.abs(np.array(shift) - centre).sum()), shift))
    in_frame = a * best[0] + c * best[1], b * best[0] + d * best[1]  # the inverse: its transpose
    steps = [way] if way else []
    if in_frame != (0, 0):
        example = ", for example" if len(shifts) > 1 else ""
        steps.append(f"shifted by ({in_frame[0]}, {in_frame[1]}){example}")
    what = " and ".join(steps)
    if way.startswith("die_x") and in_frame == (0, 0):
        return OtherNumbers(
            f"dies that fit {place} with {way}",
            "Exchange the two columns; the rows were left out.",
        )
    with_or_if = "with" if way.startswith("die_x") else "if"
    return OtherNumbers(
        f"dies that fit {place} {with_or_if} {what}: numbers from another origin",
        "Name three reference dies in a frame of these numbers and name that frame with the table;"
        " until then the rows are left out.",
    )
