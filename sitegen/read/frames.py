"""One transform for each frame of die numbers, from the reference dies named in it.

A frame differs from the layout by turns of 90°, mirroring and a shift: (x, y) -> M (x, y) + t with
M one of the eight signed permutation matrices of the square (its symmetry group, common knowledge)
and t whole numbers. At least three dies that are not on one line fix M and t; they must also not
map onto themselves under any other M, so that dies named in the wrong order are noticed.
"""

from collections.abc import Mapping, Sequence

from sitegen.model.device import Die
from sitegen.model.loaded import Transform
from sitegen.model.wafer import ReferenceDie
from sitegen.read.files import Intake
from sitegen.read.words import counted, quoted

LAYOUT = "layout"

Matrix = tuple[tuple[int, int], tuple[int, int]]

_IDENTITY: Matrix = ((1, 0), (0, 1))
_MATRICES: tuple[Matrix, ...] = tuple(
    matrix for a in (1, -1) for b in (1, -1) for matrix in (((a, 0), (0, b)), ((0, a), (b, 0)))
)

Pair = tuple[Die, Die]
"""A die in the frame, and the same die in the layout."""


def apply(transform: Transform, die: Die) -> Die:
    """The die's numbers in the layout."""
    turned = _turn(transform.matrix, die)
    return turned[0] + transform.shift[0], turned[1] + transform.shift[1]


def read_frames(
    intake: Intake, file: str, reference_dies: Sequence[ReferenceDie]
) -> Mapping[str, Transform]:
    """Each frame that the reference dies fix; a fault for each that they do not. The layout's own
    frame is always there."""
    frames = {LAYOUT: Transform(_IDENTITY, (0, 0))}
    names = sorted({name for reference in reference_dies for name in reference.frames})
    for name in names:
        pairs = [(r.frames[name], r.die) for r in reference_dies if name in r.frames]
        transform = _transform(intake, file, name, pairs)
        if transform is not None and name != LAYOUT:
            frames[name] = transform
    return frames


def _transform(intake: Intake, file: str, name: str, pairs: Sequence[Pair]) -> Transform | None:
    left_out = "until then tables in this frame are left out."
    weakness = _weakness([die for _, die in pairs])
    if weakness:
        intake.tell(
            file,
            "reference_dies",
            found=f"{weakness} for the frame {quoted(name)}",
            expected="at least three reference dies, not on one line, that no turn or mirroring"
            " maps onto themselves",
            remedy=f"Name another die in this frame; {left_out}",
        )
        return None
    fits = {matrix: _largest_fit(matrix, pairs) for matrix in _MATRICES}
    matrix, (shift, fitting) = max(fits.items(), key=lambda entry: len(entry[1][1]))
    if len(fitting) == len(pairs):
        return Transform(matrix, shift)
    in_frame, in_layout = _odd_one_out(pairs, [fit for _, fit in fits.values()], len(fitting))
    intake.tell(
        file,
        "reference_dies",
        found=f"die {_told(in_layout)} as {_told(in_frame)} in the frame {quoted(name)}, which"
        " does not go with the others",
        expected="dies that one turn or mirroring with one shift maps onto the layout",
        remedy=f"Correct the numbers of the die that is wrong; {left_out}",
    )
    return None


def _weakness(dies: Sequence[Die]) -> str:
    """Why these dies cannot fix a frame; empty when they can."""
    if len(dies) < 3:
        return f"only {counted(len(dies), 'reference die')}"
    if len(set(dies)) < len(dies):
        return "the same reference die twice"
    (x0, y0), (x1, y1) = dies[0], dies[1]
    if all((x1 - x0) * (y - y0) == (y1 - y0) * (x - x0) for x, y in dies):
        return "reference dies on one line"
    for matrix in _MATRICES:
        if matrix != _IDENTITY and _maps_onto_itself(matrix, dies):
            return "reference dies that a turn or mirroring maps onto themselves"
    return ""


def _maps_onto_itself(matrix: Matrix, dies: Sequence[Die]) -> bool:
    turned = sorted(_turn(matrix, die) for die in dies)
    straight = sorted(dies)
    shifts = {(b[0] - a[0], b[1] - a[1]) for a, b in zip(turned, straight, strict=True)}
    return len(shifts) == 1


def _largest_fit(matrix: Matrix, pairs: Sequence[Pair]) -> tuple[Die, frozenset[Pair]]:
    """The shift that maps the most dies with this matrix, and which ones."""
    by_shift: dict[Die, set[Pair]] = {}
    for pair in pairs:
        turned = _turn(matrix, pair[0])
        shift = (pair[1][0] - turned[0], pair[1][1] - turned[1])
        by_shift.setdefault(shift, set()).add(pair)
    shift, fitting = max(by_shift.items(), key=lambda entry: len(entry[1]))
    return shift, frozenset(fitting)


def _odd_one_out(pairs: Sequence[Pair], fits: Sequence[frozenset[Pair]], largest: int) -> Pair:
    """The die that the fewest of the largest fits contain, the last one where they are equal."""
    best = [fit for fit in fits if len(fit) == largest]
    return min(reversed(pairs), key=lambda pair: sum(pair in fit for fit in best))


def _turn(matrix: Matrix, die: Die) -> Die:
    (a, b), (c, d) = matrix
    return a * die[0] + b * die[1], c * die[0] + d * die[1]


def _told(die: Die) -> str:
    return f"({die[0]}, {die[1]})"
