"""By which rule values are judged, what makes a die, a wafer and a campaign conform."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, Self

import numpy as np
import numpy.typing as npt
from pydantic import Field, model_validator

from sitegen.model.arrays import BoolArray
from sitegen.model.base import Record, Signed, Size, Text

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
    """The rule by which values are judged against their limits.

    The campaign's own rule also judges the deviations of verifications and acceptances against
    their masks and tolerances; a parameter's own rule judges that parameter's values only.
    """

    rule: Rule = Field(
        description="simple: the value itself between its limits; guarded: between limits drawn in"
        " by the guard band w = rU; guarded rejection: refused only beyond limits drawn out by w;"
        " non-binary: four outcomes, two of them inside the guard bands"
    )
    coverage_factor: Size = Field(default=2.0, description="k of the expanded uncertainty U=ku")
    guard_factor: Size = Field(default=1.0, description="r of the guard band w = rU")
    uncertainty_share_max: Size | None = Field(
        default=None,
        description="greatest U as a share of the tolerance (upper minus lower limit); a value"
        " beyond it is not assessable; for one limit alone there is no tolerance to share",
    )

    @property
    def inward(self) -> float:
        """By how many standard uncertainties limits are drawn in before a value is within."""
        return self._guard if self.rule in ("guarded", "non-binary") else 0.0

    @property
    def outward(self) -> float:
        """By how many limits are drawn out before a value is outside."""
        return self._guard if self.rule in ("guarded rejection", "non-binary") else 0.0

    @property
    def acceptance(self) -> float:
        """By how many the acceptance limits lie inside the tolerance limits; negative: outside.

        Those of guarded rejection lie outside (JCGM 106:2012, 8.3.3), of a non-binary rule those
        of 'within' are meant.
        """
        return self.inward or -self.outward

    @property
    def accepted(self) -> tuple[Literal["within", "not refuted"], ...]:
        """The outcomes of values between the acceptance limits."""
        return ("within", "not refuted") if self.rule == "guarded rejection" else ("within",)

    @property
    def _guard(self) -> float:
        return self.guard_factor * self.coverage_factor

    def guard_band(self, u: float | None) -> float | None:
        """w = r k u; None where the rule has none or the standard uncertainty u is not stated."""
        return None if self.rule == "simple" or u is None else self._guard * u

    def leaves_a_zone(self, tolerance: float, u: npt.ArrayLike) -> BoolArray:
        """Where guard bands leave anything to accept between limits so far apart: not at
        2 w >= tolerance. u: standard uncertainty, any shape; NaN leaves a zone."""
        inward = self.inward * np.asarray(u, dtype=np.float64)
        return np.asarray(~((inward > 0) & (2.0 * inward >= tolerance)))

    def acceptance_limits(
        self, lower: float | None, upper: float | None, u: float | None
    ) -> tuple[float | None, float | None]:
        """Lower and upper acceptance limit of a value with standard uncertainty u, in its unit.

        The tolerance limits themselves without a guard band or without u; None where there is no
        limit, and for both where the guard bands leave no zone between them (JCGM 106:2012, 8.3.2
        and 8.3.3).
        """
        known = 0.0 if u is None else u
        if lower is not None and upper is not None and not self.leaves_a_zone(upper - lower, known):
            return None, None
        w = self.acceptance * known
        return None if lower is None else lower + w, None if upper is None else upper - w


def worst_false_acceptance(inside: float) -> float:
    """Phi(-inside): a measurand on its tolerance limit is accepted, one limit alone.

    inside: by how many standard uncertainties the acceptance limit lies inside the tolerance
    limit, `Decision.acceptance`; r k under guarded acceptance (JCGM 106:2012, 8.3.2, numbers of
    clauses from memory).
    """
    return 0.5 * math.erfc(inside / math.sqrt(2.0))


class Prior(Record):
    """What is known of the process before a value is measured: a normal law."""

    mean: Signed = Field(description="in the parameter's unit")
    standard_deviation: Size = Field(
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

    @model_validator(mode="after")
    def _can_be_reached(self) -> Self:
        if self.wafer_by == "lower end" and self.wafer_least_share == 1:
            raise ValueError(
                "'wafer_least_share' must be less than 1 where 'wafer_by' is \"lower end\", since"
                " the lower end of a yield's interval is less than 1 however many dies conform"
            )
        return self
