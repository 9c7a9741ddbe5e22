"""The tiny campaign with device results, its tables as a station would leave them: foreign files.

Every table of the wafer's record is written again in a layout of this module's own, and a mapping
says how to read it, so that what is read must be what the Parquet tables hold.
"""

import hashlib
import re
from datetime import datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from tests.campaigns import DIES, in_prober_frame, sweeps_table, values_table
from tests.device_campaign import curves_table, device_campaign, touchdowns_table

BERLIN_IN_WINTER = timezone(timedelta(hours=1))

MAPPING = """
[[sources]]
id = "rf"
files = "rf/{wafer}/{device}_{die}_{time}.s2p"
holds = "sweeps"
sweep = "raw"
constants = { condition = "rf" }
rename = { device = { spiral = "IND" } }
dies = { D1 = [-1, -1], D2 = [0, -1], D3 = [1, -1], D4 = [-1, 0], D5 = [0, 0], D6 = [1, 0],\
 D7 = [-1, 1], D8 = [0, 1], D9 = [1, 1] }
time_format = "%Y%m%d-%H%M%S"
time_zone = "Europe/Berlin"

[[sources]]
id = "parametric"
files = "dc/{wafer} parametric.csv"
holds = "values"
rows = "one a die"
frame = "prober"
constants = { range = "100 nA", path = "triaxial" }
conditions = [{ condition = "sat", when = { bias = "VG 0.6 VD 1.2" } }]
lines = ["Bias: {bias}"]
time_format = "%d.%m.%Y %H:%M"
time_zone = "Europe/Berlin"
leave = ["Bediener"]
columns = [
  { theirs = "Spalte", ours = "die_x" },
  { theirs = "Zeile", ours = "die_y" },
  { theirs = "Vth [mV]", parameter = "VTH", unit = "mV" },
  { theirs = "Ioff [nA]", parameter = "IOFF", unit = "nA" },
  { theirs = "fT [GHz]", parameter = "FT", unit = "GHz" },
  { theirs = "Temp [°C]", ours = "temperature_c", unit = "°C" },
  { theirs = "Datum", ours = "date" },
  { theirs = "Uhrzeit", ours = "clock" },
  { theirs = "Vgs", ours = "bias_vgs_v", unit = "V" },
  { theirs = "Vds", ours = "bias_vds_v", unit = "V" },
]

[[sources]]
id = "transfer"
files = "iv/{wafer}/x{die_x}y{die_y}/transfer.txt"
holds = "curves"
minus = "m"
constants = { device = "FET", curve = "TRANSFER", condition = "sat", touchdown = 1,\
 range = "100 nA", path = "triaxial" }
lines = ["# started {time}"]
columns = [
  { theirs = "VG", ours = "vg_v", unit = "V" },
  { theirs = "VD", ours = "vd_v", unit = "V" },
  { theirs = "ID", ours = "id_a", unit = "nA" },
  { theirs = "IG", ours = "ig_a", unit = "pA" },
  { theirs = "ID2", ours = "id_a_again", unit = "nA" },
  { theirs = "comp", ours = "in_compliance" },
]

[[sources]]
id = "chain"
folder = "chains"
files = "wafer={wafer}/*.parquet"
holds = "curves"
constants = { device = "CHAIN", curve = "FORCED", condition = "rf" }
columns = [
  { theirs = "x", ours = "die_x" },
  { theirs = "y", ours = "die_y" },
  { theirs = "at", ours = "time" },
  { theirs = "i", ours = "i_a" },
  { theirs = "v", ours = "v_v", unit = "mV" },
  { theirs = "rng", ours = "range" },
  { theirs = "pth", ours = "path" },
]

[[sources]]
id = "contacts"
folder = "contacts"
files = "all.tsv"
holds = "touchdowns"
frame = "prober"
columns = [
  { theirs = "wafer", ours = "wafer" },
  { theirs = "col", ours = "die_x" },
  { theirs = "row", ours = "die_y" },
  { theirs = "structure", ours = "device" },
  { theirs = "n", ours = "touchdown" },
  { theirs = "when", ours = "time" },
  { theirs = "R/mohm", ours = "contact_resistance_ohm", unit = "mohm" },
  { theirs = "overtravel", ours = "overtravel_um", unit = "um" },
  { theirs = "contacts so far", ours = "probe_contacts" },
]
"""


def foreign_campaign(folder: Path, *, gathered: bool = True) -> Path:
    """Write the campaign below `folder` and return its own folder; its wafer's own tables are gone
    but for the earlier map. With `gathered` false the files of the tree lie in `folder`/tree."""
    campaign = device_campaign(folder)
    wafer = campaign / "wafers/W1"
    text = (wafer / "wafer.toml").read_text(encoding="utf-8")
    for table in ("values", "sweeps", "curves", "touchdowns"):
        text = re.sub(rf"\[\[{table}\]\]\n(?:[^\[\n].*\n)*", "", text)
        (wafer / f"{table}.parquet").unlink()
    (wafer / "wafer.toml").write_text(text, encoding="utf-8")
    (campaign / "mapping.toml").write_text(MAPPING, encoding="utf-8")
    write_tree(campaign / "gathered" if gathered else folder / "tree")
    if gathered:
        write_list(campaign)
    write_in_place(campaign)
    return campaign


def write_list(campaign: Path) -> None:
    """The list of gathered files, as if they had been gathered."""
    lines = ["file,taken_from,sha256,bytes,modified_at,gathered_at,source"]
    for path in sorted((campaign / "gathered").rglob("*.*")):
        if path.is_dir():
            continue
        file = path.relative_to(campaign).as_posix()
        content = path.read_bytes()
        source = {"rf": "rf", "dc": "parametric", "iv": "transfer"}[file.split("/")[1]]
        lines.append(
            f"{file},{file.removeprefix('gathered/')},{hashlib.sha256(content).hexdigest()},"
            f"{len(content)},2026-03-02T12:00:00+00:00,2026-03-03T08:00:00+00:00,{source}"
        )
    (campaign / "gathered.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def write_tree(tree: Path) -> None:
    """The files that a station left: Touchstone, a wide table, and a text file a die."""
    _write_sweeps(tree)
    _write_parametric(tree)
    _write_transfer(tree)


def write_in_place(campaign: Path) -> None:
    """Tables that are read where they are: partitioned Parquet, and one with all wafers."""
    rows = [row for row in curves_table().to_pylist() if row["device"] == "CHAIN"]
    half = len(rows) // 2
    place = campaign / "chains/wafer=W1"
    place.mkdir(parents=True)
    for number, part in enumerate((rows[:half], rows[half:])):
        table = {
            "x": pa.array([row["die_x"] for row in part], pa.int16()),
            "y": pa.array([row["die_y"] for row in part], pa.int16()),
            "at": pa.array([row["measured_at"] for row in part], pa.timestamp("ns", tz="UTC")),
            "i": [row["i_a"] for row in part],
            "v": [row["v_v"] * 1e3 for row in part],
            "rng": pa.array([row["range"] for row in part]).dictionary_encode(),
            "pth": [row["path"] for row in part],
        }
        pq.write_table(pa.table(table), place / f"part-{number}.parquet")
    lines = ["wafer\tcol\trow\tstructure\tn\twhen\tR/mohm\tovertravel\tcontacts so far"]
    for row in touchdowns_table().to_pylist():
        ohm = row["contact_resistance_ohm"]
        cells = (
            "W1",
            row["die_x"],
            row["die_y"],
            row["device"] or "",
            row["touchdown"],
            row["measured_at"].isoformat(),
            "" if ohm is None else f"{ohm * 1e3:.12g}",
            f"{row['overtravel_um']:g}",
            row["probe_contacts"],
        )
        lines.append("\t".join(map(str, cells)))
    (campaign / "contacts").mkdir()
    (campaign / "contacts/all.tsv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def _stamp(at: datetime) -> datetime:
    return at.astimezone(BERLIN_IN_WINTER)


def _write_sweeps(tree: Path) -> None:
    table = sweeps_table().to_pandas()
    place = tree / "rf/W1"
    place.mkdir(parents=True)
    for number, die in enumerate(DIES, 1):
        rows = table[(table["die_x"] == die[0]) & (table["die_y"] == die[1])]
        at = _stamp(rows["measured_at"].iloc[0].to_pydatetime())
        lines = ["! simulated", "# GHz S RI R 50"]
        for row in rows.to_dict("records"):
            s = [f"{row[f'{name}_{part}']!r}" for name in ORDER for part in ("re", "im")]
            lines.append(" ".join([f"{row['frequency_hz'] / 1e9:g}", *s]))
        name = f"spiral_D{number}_{at:%Y%m%d-%H%M%S}.s2p"
        (place / name).write_text("\n".join(lines) + "\n", encoding="ascii")


ORDER = ("s11", "s21", "s12", "s22")


def _comma(number: float) -> str:
    return f"{number:.12g}".replace(".", ",")


def _write_parametric(tree: Path) -> None:
    rows = values_table().to_pylist()
    lines = [
        "Wafertest (simuliert)",
        "Bias: VG 0.6 VD 1.2",
        "",
        "Spalte;Zeile;Vth [mV];Ioff [nA];fT [GHz];Temp [°C];Datum;Uhrzeit;Vgs;Vds;Bediener",
    ]
    for die in DIES:
        x, y = in_prober_frame(*die)
        mine = {row["parameter"]: row for row in rows if (row["die_x"], row["die_y"]) == (x, y)}
        first = mine["VTH"]
        at = _stamp(first["measured_at"])
        cells = [
            str(x),
            str(y),
            _comma(mine["VTH"]["value"] * 1e3),
            _comma(mine["IOFF"]["value"] * 1e9),
            _comma(mine["FT"]["value"]),
            _comma(first["temperature_c"]),
            f"{at:%d.%m.%Y}",
            f"{at:%H:%M}",
            _comma(first["bias_vgs_v"]),
            _comma(first["bias_vds_v"]),
            "Frühschicht",
        ]
        lines.append(";".join(cells))
    (tree / "dc").mkdir(parents=True)
    text = "\r\n".join(lines) + "\r\n"
    (tree / "dc/W1 parametric.csv").write_bytes(text.encode("utf-8-sig"))


def _write_transfer(tree: Path) -> None:
    rows = [row for row in curves_table().to_pylist() if row["device"] == "FET"]
    for die in DIES:
        mine = [row for row in rows if (row["die_x"], row["die_y"]) == die]
        words = [f"m{-number}" if number < 0 else str(number) for number in die]
        place = tree / f"iv/W1/x{words[0]}y{words[1]}"
        place.mkdir(parents=True)
        lines = [f"# started {mine[0]['measured_at'].isoformat()}", "", "VG  VD  ID  IG  ID2  comp"]
        for row in mine:
            numbers = [row["vg_v"], row["vd_v"], row["id_a"] * 1e9, row["ig_a"] * 1e12]
            numbers += [row["id_a_again"] * 1e9]
            lines.append("  ".join([*(f"{n:.15g}" for n in numbers), str(row["in_compliance"])]))
        (place / "transfer.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")


def alike(one: object, other: object) -> bool:
    """Numbers to twelve digits, all else exactly."""
    if isinstance(one, float) and isinstance(other, float):
        return bool(np.isclose(one, other, rtol=1e-12, atol=0.0, equal_nan=True))
    return one == other
