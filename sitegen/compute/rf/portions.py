"""Many sweeps in portions, so that what is worked out of each stays in the processor's cache."""

from collections.abc import Iterator

_ELEMENTS = 10000
"""Points of all sweeps of a portion, a hundred kilobytes for each S-parameter."""


def portions(n_sweep: int, n_point: int) -> Iterator[slice]:
    """Sweeps of a portion, of as equal numbers as can be."""
    if not n_sweep:
        return
    count = -(-n_sweep * n_point // _ELEMENTS) or 1
    size = -(-n_sweep // count)
    for start in range(0, n_sweep, size):
        yield slice(start, min(start + size, n_sweep))
