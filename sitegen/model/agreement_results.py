"""How values that must agree came out on a wafer, those that do agree included."""

from dataclasses import dataclass
from typing import Literal

from sitegen.model.trust import Agreement


@dataclass(frozen=True)
class AgreementCount:
    """One declared agreement on one wafer, in dies; each site of a die is one of its own."""

    wafer: str
    declared: Agreement
    unit: str
    """Of the first value, and of the differences."""
    agree: int
    """Dies that differ by no more than the allowance and k u of the difference."""
    beyond: int
    """Dies that differ by more. Where all agree about 5 % may at k = 2, by chance."""
    not_compared: int
    """Dies with one of the two values only, with one that does not stand or is no number, or with
    one whose uncertainty is not stated."""
    mean: float | None
    """Mean difference, first less second, of the dies compared; None without any."""
    u_mean: float | None
    """Its standard uncertainty: what all dies share does not shrink in it."""
    largest: float | None
    """Difference of the greatest size, with its sign."""
    largest_die: tuple[int, int] | None
    outcome: Literal["agree", "do not agree", "not decided"]
    """Of the wafer, at the level that a campaign's agreements share; not from `beyond`."""
