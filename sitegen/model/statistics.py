"""What is stated of a figure: its value, its interval, or why it is not stated."""

from dataclasses import dataclass

CONFIDENCE = 0.95
"""Of every interval, two-sided, unless a record says otherwise."""


@dataclass(frozen=True)
class Estimate:
    """A figure with its interval; None where it is not stated, and `reason` says why."""

    value: float | None
    lower: float | None = None
    upper: float | None = None
    """None at one end alone: the interval is open there."""
    reason: str = ""
    """Why value or interval is not stated, and how many dies or wafers would be needed, for
    example 'needs 5 wafers, there are 3'; empty where both are."""
