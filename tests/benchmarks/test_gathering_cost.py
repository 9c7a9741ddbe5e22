"""What gathering costs, as a ratio to reading the same files one by one with scikit-rf.

Gathering copies each file, reads its numbers as a build will, and lists it with its digest. Ratio
within one run, so that the machine does not matter.
"""

import random
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import skrf

from sitegen.gathering import gather
from tests.campaigns import tiny_campaign
from tests.conftest import quiet

FILES, POINTS, ROUNDS = 300, 201, 3
MOST_READINGS = 1.0
MAPPING = """
[[sources]]
id = "sweeps"
files = "{wafer}/X{die_x}_Y{die_y}_{device}.s2p"
holds = "sweeps"
sweep = "raw"
constants = { condition = "rf" }
time_from = "modification"
"""


def write_tree(tree: Path) -> list[Path]:
    """Two-port files in real and imaginary parts with nine digits."""
    numbers = random.Random(5)
    paths = []
    for file in range(FILES):
        lines = ["! invented station", "# Hz S RI R 50"]
        for point in range(POINTS):
            row = " ".join(f"{numbers.uniform(-0.5, 0.5):.9g}" for _ in range(8))
            lines.append(f"{(point + 1) * 5e8:.1f} {row}")
        path = tree / f"W{file // 100}" / f"X{file % 10}_Y{file // 10 % 10}_IND.s2p"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("\n".join(lines) + "\n", "ascii")
        paths.append(path)
    return paths


def cost_s(work: Callable[[], object]) -> tuple[float, float]:
    """Processor time and time on the clock."""
    clock, processor = time.perf_counter(), time.process_time()
    work()
    return time.process_time() - processor, time.perf_counter() - clock


def test_gathering_costs_at_most_what_reading_costs(tmp_path: Path) -> None:
    paths = write_tree(tmp_path / "tree")
    now = datetime.now(UTC)
    gathering, reading = [], []
    skrf.Network(str(paths[0]))  # imports and first calls, paid once
    for number in range(ROUNDS + 1):
        campaign = tiny_campaign(tmp_path / str(number))
        (campaign / "mapping.toml").write_text(MAPPING, "utf-8")
        done = []
        taken = cost_s(lambda: done.append(gather(campaign, tmp_path / "tree", now, quiet)))  # noqa: B023
        assert done[0].sources["sweeps"].new == FILES
        if number:
            gathering.append(taken)
            reading.append(cost_s(lambda: [skrf.Network(str(path)).s for path in paths]))
    ratios = [
        min(one[kind] for one in gathering) / min(one[kind] for one in reading) for kind in (0, 1)
    ]
    print(f"processor time {ratios[0]:.2f}, time on the clock {ratios[1]:.2f} of reading")
    assert max(ratios) <= MOST_READINGS
