"""On-wafer statistics: summaries, intervals, zones, suspicions and variance components."""
