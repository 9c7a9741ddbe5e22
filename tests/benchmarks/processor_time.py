"""Processor time of a piece of work."""

import time
from collections.abc import Callable


def times_s(work: Callable[[], object], times: int) -> list[float]:
    """Processor seconds of each of some runs."""
    taken = []
    for _ in range(times):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return taken


def best_s(work: Callable[[], object], times: int) -> float:
    """The least of some runs."""
    return min(times_s(work, times))
