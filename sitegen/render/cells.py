"""Cells of counts, shares and probabilities: as text, and sorted by their number."""

from sitegen import units
from sitegen.render.phrases import number_of, percent, plain
from sitegen.render.pieces import Cell


def count_cell(number: int) -> Cell:
    """A count."""
    return Cell(number_of(number), str(number), True)


def percent_cell(share: float | None) -> Cell:
    """A share of a whole."""
    return Cell(percent(share), plain(share), True)


def percent_over_cell(ratio: float | None) -> Cell:
    """A ratio in percent that may exceed one."""
    return Cell(units.percent_over(ratio), plain(ratio), True)


def probability_cell(p: float | None) -> Cell:
    """A probability in percent, be it of conformity or a risk."""
    return Cell(units.probability(p), plain(p), True)
