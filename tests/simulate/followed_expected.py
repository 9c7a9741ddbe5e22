"""What is planted in campaigns_demo/teasel-4 and what must be found there, and nothing else.

From the forward side alone: `test_followed.py` holds it against the plan of the simulation.
"""

from datetime import UTC, datetime

CALIBRATIONS = {
    "CAL-01": "multiline TRL",
    "CAL-02": "TRL",
    "CAL-03": "multiline TRL",
    "CAL-04": "SOLR",
    "CAL-05": "LRM",
    **{f"CAL-{number:02d}": "LRRM" for number in range(6, 36)},
}
VERIFICATIONS = 39
STATION = "PS-T"

FAILED, BEFORE_FAILED, OF_FAILED = "VER-18", "VER-17", "CAL-15"
"""The cable lay out of its clamp; the same calibration was verified that morning."""
FAILED_STRUCTURES = ("line-600", "transistor")

BADLY_CONTACTED, REPEATED = "CAL-26", "CAL-27"
"""Its load was badly contacted at port 1: its own checks fail. It was repeated at once."""
CHECK_THAT_SEES_IT = "fitted load inductance"

EXCHANGED_AT = datetime(2026, 2, 17, 6, 30, tzinfo=UTC)
FIRST_AFTER_EXCHANGE = "CAL-10"
"""Cannot be compared with the one before it, nor can the first one where the station stands."""
FIRST_ON_SITE = "CAL-03"

REPORTED = ("CAL-03", "CAL-06", "CAL-12", "CAL-22", "CAL-32")
"""Calibrations with the instrument's own error terms."""

WORN = "load resistance less declared, port 1"
WEAR_OHM_PER_CALIBRATION = 0.009
WORN_BOUND_OHM = 0.45
MEETS_BOUND = (datetime(2026, 3, 30, tzinfo=UTC), datetime(2026, 4, 20, tzinfo=UTC))
"""0.14 ohm are left on 20 March, 15 calibrations: three weeks of working days."""

ACCEPTANCE = "ACC-1"
FACTORY, SITE = "VER-01", "VER-03"
NOTED = ("CAL-03", "CAL-10", "CAL-26", "VER-18", "ACC-1")

FINDINGS = {
    ("verification failed", f"verification {FAILED}"),
    ("calibration checks failed", f"calibration {BADLY_CONTACTED}"),
    ("trend towards a bound", "station PS-T"),  # the loads wear
}
