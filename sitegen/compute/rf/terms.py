"""Error terms of one-port and two-port (12-term) calibrations."""

from dataclasses import dataclass
from typing import Literal

from sitegen.model.arrays import ComplexArray, FloatArray


@dataclass(frozen=True, eq=False)
class OnePortTerms:
    """The three error terms of one port, arrays (n_freq,) complex.

    Model: m = ED + ER G / (1 - ES G), with raw reflection m and true reflection G.
    """

    frequency_hz: FloatArray
    z_ref_ohm: float
    directivity: ComplexArray
    source_match: ComplexArray
    reflection_tracking: ComplexArray


@dataclass(frozen=True, eq=False)
class DrivenTerms:
    """The six error terms while one port is driven and the other receives.

    Arrays (n_freq,) complex. Directivity, source match and reflection tracking belong to the
    driven port; load match, transmission tracking and isolation to the way through to the
    receiving port.
    """

    directivity: ComplexArray
    source_match: ComplexArray
    reflection_tracking: ComplexArray
    load_match: ComplexArray
    transmission_tracking: ComplexArray
    isolation: ComplexArray


@dataclass(frozen=True, eq=False)
class TwoPortTerms:
    """The 12-term model: forward with port 1 driven, reverse with port 2 driven."""

    frequency_hz: FloatArray
    z_ref_ohm: float
    forward: DrivenTerms
    reverse: DrivenTerms


ErrorTerms = OnePortTerms | TwoPortTerms


@dataclass(frozen=True, eq=False)
class TermRow:
    """One error term as shown to a reader."""

    name: str
    symbol: str
    values: ComplexArray
    """(n_freq,) complex."""


def term_rows(terms: ErrorTerms) -> tuple[TermRow, ...]:
    """The error terms with their names and usual symbols, in a fixed order."""
    if isinstance(terms, OnePortTerms):
        return (
            TermRow("directivity", "ED", terms.directivity),
            TermRow("source match", "ES", terms.source_match),
            TermRow("reflection tracking", "ER", terms.reflection_tracking),
        )
    return _driven_rows(terms.forward, "forward") + _driven_rows(terms.reverse, "reverse")


def _driven_rows(
    terms: DrivenTerms, direction: Literal["forward", "reverse"]
) -> tuple[TermRow, ...]:
    suffix = "F" if direction == "forward" else "R"
    return (
        TermRow(f"{direction} directivity", f"ED{suffix}", terms.directivity),
        TermRow(f"{direction} source match", f"ES{suffix}", terms.source_match),
        TermRow(f"{direction} reflection tracking", f"ER{suffix}", terms.reflection_tracking),
        TermRow(f"{direction} load match", f"EL{suffix}", terms.load_match),
        TermRow(f"{direction} transmission tracking", f"ET{suffix}", terms.transmission_tracking),
        TermRow(f"{direction} isolation", f"EX{suffix}", terms.isolation),
    )


def terms_from_rows(like: ErrorTerms, rows: ComplexArray) -> ErrorTerms:
    """Error terms with other values, (n_term, n_freq) in the order of `term_rows`."""
    if isinstance(like, OnePortTerms):
        return OnePortTerms(like.frequency_hz, like.z_ref_ohm, *rows)
    forward, reverse = DrivenTerms(*rows[:6]), DrivenTerms(*rows[6:])
    return TwoPortTerms(like.frequency_hz, like.z_ref_ohm, forward, reverse)
