"""A tree of files as a station leaves it, beside the tiny campaign: sweeps, tables, odds and ends.

Written by code of its own: names, columns and numbers in a layout that the program does not have.
"""

import os
from datetime import UTC, datetime
from pathlib import Path

from tests.campaigns import tiny_campaign

WRITTEN = datetime(2026, 3, 2, 9, 15, tzinfo=UTC)
"""When every file of the tree was last written."""

MAPPING = """
[[sources]]
id = "sweeps"
files = "{wafer}/X{die_x}_Y{die_y}_{device}.s2p"
holds = "sweeps"
sweep = "raw"
constants = { condition = "rf" }
time_from = "modification"

[[sources]]
id = "thresholds"
files = "dc/{wafer}.csv"
holds = "values"
rows = "one a die"
constants = { device = "FET", condition = "sat" }
time_zone = "UTC"
columns = [
  { theirs = "col", ours = "die_x" },
  { theirs = "row", ours = "die_y" },
  { theirs = "Vt/V", parameter = "VTH", unit = "V" },
  { theirs = "when", ours = "time" },
]

[[sources]]
id = "standards"
files = "cal/{calibration}/*.s2p"
holds = "calibration sweeps"
"""


def station_tree(folder: Path) -> tuple[Path, Path]:
    """The tiny campaign with a mapping, and a tree of four sweeps, one table and one standard."""
    campaign = tiny_campaign(folder)
    (campaign / "mapping.toml").write_text(MAPPING, "utf-8")
    tree = folder / "tree"
    for number, name in enumerate(
        (
            "W1/X0_Y0_IND.s2p",
            "W1/X1_Y-1_IND.s2p",
            "W7/X0_Y0_IND.s2p",
            "W7/X0_Y1_FET.s2p",
            "cal/CAL7/thru.s2p",
        )
    ):
        write_sweep(tree / name, number)
    write(
        tree / "dc" / "W7.csv",
        "col;row;Vt/V;when\n"
        "0;0;0,412;2026-03-02 09:00:30\n"
        "1;0;0,415;2026-03-02 09:01:00\n"
        "-1;0;0,409;2026-03-02 10:40:00\n",
    )
    return campaign, tree


def write_sweep(path: Path, number: int, points: int = 3) -> None:
    """A Touchstone file whose numbers say which it is."""
    rows = [
        f"{(point + 1) * 1e9:.1f} 0.1 {number / 1000:.4f} 0.2 0.01 0.2 0.02 0.3 {point / 1000:.4f}"
        for point in range(points)
    ]
    write(path, "\n".join(["! invented station", "# Hz S RI R 50", *rows, ""]))


def write(path: Path, text: str) -> None:
    """A file of the tree, last written at `WRITTEN`."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, "utf-8")
    stamp = WRITTEN.timestamp()
    os.utime(path, (stamp, stamp))
