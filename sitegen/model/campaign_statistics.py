"""Everything that is stated of the values beyond their summaries: what pages and tables show."""

from dataclasses import dataclass

from sitegen.model.decision_results import Risks
from sitegen.model.distribution_results import Capability, Distribution
from sitegen.model.relation_results import Comparison, Correlation, Trend
from sitegen.model.space_results import Outliers, Patterns
from sitegen.model.variation_results import GaugeStudy, Variation
from sitegen.model.yield_results import Yields


@dataclass(frozen=True)
class ParameterStatistics:
    """One parameter under one condition."""

    parameter: str
    condition: str
    risks: Risks
    distribution: Distribution
    """Over all wafers."""
    by_wafer: tuple[tuple[str, Distribution], ...]
    capability: Capability
    variation: Variation
    studies: tuple[GaugeStudy, ...]
    patterns: tuple[Patterns, ...]
    """By wafer."""
    outliers: Outliers
    trends: tuple[Trend, ...]
    comparisons: tuple[Comparison, ...]
    """Of wafers, then of splits."""


@dataclass(frozen=True)
class CampaignStatistics:
    """Of all parameters, in the campaign's order, and between them."""

    parameters: tuple[ParameterStatistics, ...]
    yields: Yields
    correlations: tuple[Correlation, ...]
    """Every pair that has an adjusted p below 0.05, and the declared ones; declared first."""
