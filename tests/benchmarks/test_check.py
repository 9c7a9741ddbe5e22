"""What `check` of the demo costs, as a ratio to reading its files alone in the same run.

Every fault but those of calibrations and of the names of calibrations comes from reading; solving
the calibrations and looking up the names must add little. What judging, drawing and writing need
must not even be imported.
"""

import subprocess
import sys
from pathlib import Path
from statistics import median

from sitegen.checking import check
from sitegen.read import read_campaign, read_wafer_tables
from tests.benchmarks.processor_time import times_s
from tests.conftest import DEMO, quiet

MOST_READINGS = 1.5
NOT_NEEDED = ("altair", "jinja2", "skrf", "scipy.stats", "sitegen.compute.events", "vl_convert")
LOOK = f"""
import sys
from pathlib import Path
from sitegen.checking import check
check(Path(sys.argv[1]), lambda stage, done, total: None)
print([name for name in {NOT_NEEDED!r} if name in sys.modules])
"""


def read_all(folder: Path) -> None:
    """Read every record and every table."""
    campaign, _ = read_campaign(folder)
    known = frozenset(one.record.id for one in campaign.calibrations)
    for wafer in campaign.wafers:
        read_wafer_tables(folder, wafer, campaign.record, known)


def test_a_check_against_reading_alone() -> None:
    check(DEMO, quiet)
    whole_s = median(times_s(lambda: check(DEMO, quiet), 5))
    reading_s = median(times_s(lambda: read_all(DEMO), 5))
    print(f"check {whole_s * 1e3:.0f} ms, reading {reading_s * 1e3:.0f} ms")
    assert whole_s <= MOST_READINGS * reading_s


def test_a_check_imports_nothing_that_only_a_build_needs() -> None:
    done = subprocess.run(
        [sys.executable, "-c", LOOK, str(DEMO)], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
