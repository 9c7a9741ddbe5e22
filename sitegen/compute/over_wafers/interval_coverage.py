"""How often the intervals of a share hold it, for the drawing of the method page."""

from sitegen.compute.stats.intervals import clopper_pearson, exact_coverage, wilson
from sitegen.model.yield_results import IntervalCoverage

DRAWN = (5, 20, 100)
"""Numbers of dies."""


def interval_coverages() -> tuple[IntervalCoverage, ...]:
    """Both intervals at each number of dies, by exact enumeration; nothing of a campaign in it."""
    return tuple(
        coverage
        for n in DRAWN
        for coverage in (
            IntervalCoverage("Wilson", n, *exact_coverage(wilson, n)),
            IntervalCoverage("Clopper-Pearson", n, *exact_coverage(clopper_pearson, n)),
        )
    )
