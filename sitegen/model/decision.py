"""By which rule values are judged, what makes a die, a wafer and a campaign conform."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, Self

from pydantic import Field, model_validator

from sitegen.model.base import Positive, Record, Text

Rule = Literal["simple", "guarded", "guarded rejection", "non-binary"]


@dataclass(frozen=True)
class RuleText:
    """A decision rule in words."""

    name: str
    """As a sentence names it: 'the guarded rule'."""
    title: str
    logic: str
    """Which outcome a value has where."""
    clauses: str
    """Where the standards have it; numbers of clauses are quoted from memory."""


RULE_TEXTS: Mapping[Rule, RuleText] = {
    "simple": RuleText(
        "simple rule",
        "Simple acceptance",
        "A value is within when it lies between its limits or exactly on one, else outside. The"
        " measurement uncertainty is left out, so a value close to a limit may be on the wrong side"
        " of it.",
        "JCGM 106:2012, 8.2; ILAC-G8:09/2019, 4.2 (binary statement, w = 0)",
    ),
    "guarded": RuleText(
        "guarded rule",
        "Guarded acceptance",
        "Each limit is drawn in by the guard band w = r k u. A value is within between these"
        " acceptance limits or exactly on one, not proven between an acceptance limit and its"
        " tolerance limit, and outside beyond a tolerance limit.",
        "JCGM 106:2012, 8.3.2; ILAC-G8:09/2019, 4.2 (binary statement with guard band)",
    ),
    "guarded rejection": RuleText(
        "rule of guarded rejection",
        "Guarded rejection",
        "A value is within when it lies between its limits or exactly on one. It is outside only"
        " beyond a limit drawn out by the guard band w = r k u, and not refuted between the limit"
        " and there.",
        "JCGM 106:2012, 8.3.3",
    ),
    "non-binary": RuleText(
        "non-binary rule",
        "Non-binary rule",
        "Each limit has the guard band w = r k u on either side. A value is within between limits"
        " drawn in by w or exactly on one, not proven between one of these and its tolerance limit,"
        " not refuted beyond a tolerance limit by up to w, and outside beyond that.",
        "ILAC-G8:09/2019, 4.2 (non-binary statement with guard band); ISO 14253-1:2017, conformity"
        " and nonconformity proven, and neither between",
    ),
}
"""The decision rules in the words that the pages print."""


class Decision(Record):
    """The rule by which values are judged against their limits."""

    rule: Rule = Field(
        description="simple: the value itself between its limits; guarded: between limits drawn in"
        " by the guard band w = rU; guarded rejection: refused only beyond limits drawn out by w;"
        " non-binary: four outcomes, two of them inside the guard bands"
    )
    coverage_factor: Positive = Field(default=2.0, description="k of the expanded uncertainty U=ku")
    guard_factor: Positive = Field(default=1.0, description="r of the guard band w = rU")
    uncertainty_share_max: Positive | None = Field(
        default=None,
        description="greatest U as a share of the tolerance (upper minus lower limit); a value"
        " beyond it is not assessable; for one limit alone there is no tolerance to share",
    )


class Prior(Record):
    """What is known of the process before a value is measured: a normal law."""

    mean: float = Field(description="in the parameter's unit")
    standard_deviation: Positive = Field(
        description="of the process without the measurement, in the parameter's unit"
    )
    basis: Text = Field(description="where it comes from, for example earlier lots")


class Verdict(Record):
    """What makes a die, a wafer and the campaign conform."""

    conforming: tuple[Literal["within", "not proven", "not refuted"], ...] = Field(
        default=("within",),
        min_length=1,
        description="outcomes that a conforming die may have among its planned values with limits",
    )
    wafer_least_share: float | None = Field(
        default=None, gt=0, le=1, description="least share of conforming dies of a conforming wafer"
    )
    wafer_by: Literal["share", "lower end"] = Field(
        default="share",
        description="what must reach it: the share of these dies, or the lower end of its interval",
    )
    campaign_least_share: float = Field(
        default=1.0, gt=0, le=1, description="least share of conforming wafers"
    )

    @model_validator(mode="after")
    def _within_conforms(self) -> Self:
        if "within" not in self.conforming:
            raise ValueError(
                "'conforming' must hold 'within': a die whose every value is within conforms"
            )
        return self
