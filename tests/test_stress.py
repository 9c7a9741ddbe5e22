"""A campaign before and after a stress, built whole: its truth is found, nothing counts twice."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from html import unescape
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from sitegen.build import build
from sitegen.problems import Fault, Finding
from sitegen.publish.tables import read_columns
from tests.campaigns import tiny_campaign
from tests.kinds import stress as planted
from tests.kinds.stress import stressed

SHIFT_COLUMNS = [
    "parameter", "before", "after", "control", "had", "n", "lost", "lost_devices", "lost_reasons",
    "value", "lower", "upper", "of_process", "control_mean", "u", "resolved", "outside",
    "undecided", "patterns",
]  # fmt: skip


@dataclass(frozen=True)
class Made:
    faults: tuple[Fault, ...]
    findings: tuple[Finding, ...]
    out: Path


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Made]:
    """The campaign's publication, and what the build had to say."""
    folder = tmp_path_factory.mktemp("stress")
    out = folder / "publication"
    report = build(stressed(folder), out, lambda *_: None, 1)
    yield Made(report.faults, report.findings, out)


def text_of(html: str) -> str:
    bare = re.sub(r"<svg.*?</svg>", " ", html, flags=re.DOTALL)
    return " ".join(unescape(re.sub(r"<[^>]+>", "", bare)).replace("\u202f", " ").split())


def page(out: Path, address: str) -> str:
    return (out / address).read_text("utf-8")


def table(out: Path) -> pd.DataFrame:
    return read_columns(out, "shifts", SHIFT_COLUMNS)


def together(out: Path, parameter: str) -> dict[str, Any]:
    rows = table(out)
    one = rows[rows["parameter"].eq(parameter) & rows["after"].eq("")]
    return {name: one[name].tolist()[0] for name in SHIFT_COLUMNS}


def test_it_has_no_fault(made: Made) -> None:
    assert made.faults == ()


def test_the_planted_shift_is_found_and_the_drift_taken_off(made: Made) -> None:
    one = together(made.out, "VTH")
    gone = {die for wafer, die in planted.DEAD}
    true = []
    for wafer in planted.STRESSED:
        for die in planted.DIES:
            if (wafer, die) not in planted.DEAD and (wafer, die) != planted.NOT_AGAIN:
                weak = (wafer, die) == planted.WEAK
                true.append(
                    (wafer, planted.SHIFT_OF_WEAK_MV if weak else planted.true_shift_mv(*die))
                )
    assert len(gone) == 2
    mean = np.mean([np.mean([v for w, v in true if w == name]) for name in planted.STRESSED])
    assert one["lower"] < mean < one["upper"]
    assert one["value"] == pytest.approx(mean, abs=2 * one["u"])
    assert one["control_mean"] == pytest.approx(planted.DRIFT_MV, abs=2 * 0.3 * np.sqrt(2))
    assert one["resolved"] == "resolved" and not one["of_process"]


def test_lost_devices_and_the_weak_one_are_told(made: Made) -> None:
    one = together(made.out, "VTH")
    assert (one["had"], one["n"], one["lost"], one["lost_devices"]) == (98, 95, 3, 2)
    assert (one["outside"], one["undecided"]) == (1, 0)
    leak = together(made.out, "IOFF")
    assert (leak["had"], leak["n"]) == (98, 96)
    assert leak["lost_reasons"] == "below the floor: 1; not measured: 1"
    (finding,) = [one for one in made.findings if one.kind == "shift by a stress"]
    assert finding.weight == "decision" and finding.address == "parameters/VTH/index.html#stress"
    assert finding.text == (
        "After stress HTS (168 h at 125 °C) values that were there before it are gone: VTH at sat"
        " on 2 of 98, IOFF at sat on 1 of 98; shifts beyond their bound: VTH at sat on 1 of 95."
    )
    (gap,) = [one for one in made.findings if one.kind == "not measured after a stress"]
    assert gap.weight == "attention" and "2 values with a number before" in gap.text


def test_every_die_of_before_is_in_the_table_of_dies(made: Made) -> None:
    dies = read_columns(
        made.out, "shift-dies", ["parameter", "before", "die_x", "die_y", "state", "outcome"]
    )
    mine = dies[dies["parameter"] == "VTH"]
    assert len(mine) == 3 * len(planted.DIES)
    lost = mine[mine["state"] != "paired"]
    dead = lost[lost["state"].str.startswith("no value")]
    assert places(dead) == set(planted.DEAD)
    assert places(mine[mine["outcome"] == "outside"]) == {planted.WEAK}


def places(rows: pd.DataFrame) -> set[tuple[str, tuple[int, int]]]:
    columns = (rows[name].tolist() for name in ("before", "die_x", "die_y"))
    return {(wafer, (x, y)) for wafer, x, y in zip(*columns, strict=True)}


def test_the_place_of_the_shift_is_told(made: Made) -> None:
    assert "W2-168h: higher in the centre than at the rim" in together(made.out, "VTH")["patterns"]


def test_no_die_counts_twice(made: Made) -> None:
    """Yields, summaries and components are of the three fresh wafers; the rows are all there."""
    out = made.out
    yields = read_columns(out, "yields", ["wafer", "judged"])
    assert list(yields["wafer"]) == ["W1", "W2", "W3", ""]
    assert yields["judged"].iloc[-1] == 3 * len(planted.DIES)
    summaries = read_columns(out, "parameters", ["parameter", "wafer", "n"])
    assert set(summaries["wafer"]) <= {"", "W1", "W2", "W3"}
    overall = summaries[(summaries["wafer"] == "") & (summaries["parameter"] == "VTH")]
    assert overall["n"].max() == 3 * len(planted.DIES)
    components = read_columns(out, "components", ["parameter", "level", "groups"])
    assert components.loc[components["level"] == "wafer", "groups"].max() == 3
    results = read_columns(out, "results", ["wafer"])
    assert {"W1", "W1-168h", "W3-168h"} <= set(results["wafer"])


def test_the_parameters_page_answers_in_one_sentence_first(made: Made) -> None:
    html = page(made.out, "parameters/VTH/index.html")
    section = html[html.index('<section aria-labelledby="stress">') :].partition("</section>")[0]
    text = text_of(section)
    assert text.startswith(
        "What did the stress do? After 168 h at 125 °C (HTS), 2 of the 98 values of before are"
        " gone (no value, though the die was measured); one value was not measured again or has"
        " no standing; the other 95 shifted by −14."
    )
    assert "1 of the 95 shifts is beyond ±25 mV." in text
    assert "The interval holds for these two wafers alone" in text
    for name in ("stress~HTS~sat", "shift~HTS~W1-168h~sat", "shift~HTS~W2-168h~sat"):
        assert f'src="{name}.svg"' in section
    assert "shift~HTS~W3-168h" not in section
    drawing = page(made.out, "parameters/VTH/shift~HTS~W1-168h~sat.svg")
    assert drawing.count("<svg") == 1
    level = re.compile(r'<path class="line-muted" fill="none" stroke-width="1" d="M64,')
    assert len(level.findall(page(made.out, "parameters/VTH/stress~HTS~sat.svg"))) == 1


def test_each_record_leads_to_its_partner(made: Made) -> None:
    out = made.out
    after, before = page(out, "wafers/W1-168h/index.html"), page(out, "wafers/W1/index.html")
    assert "This is wafer W1 measured again after stress HTS (168 h at 125 °C)" in text_of(after)
    assert 'href="../W1/index.html"' in after
    assert "This wafer was measured again as W1-168h after stress HTS" in text_of(before)
    assert 'href="../W1-168h/index.html"' in before
    control = text_of(page(out, "wafers/W3-168h/index.html"))
    assert "measured again without the stress, as a control wafer of stress HTS" in control
    home = page(out, "index.html")
    assert 'id="stresses"' in home and 'href="wafers/W2-168h/index.html"' in home


def test_a_record_after_has_verdicts_and_is_found_by_search(made: Made) -> None:
    out = made.out
    assert 'id="verdicts"' in page(out, "wafers/W1-168h/index.html")
    assert '"Wafer W1-168h"' in page(out, "static/search-index.js")


def test_without_a_stress_there_is_no_word_of_it(tmp_path: Path) -> None:
    out = tmp_path / "publication"
    build(tiny_campaign(tmp_path), out, lambda *_: None, 1)
    for address in ("index.html", "parameters/VTH/index.html", "wafers/W1/index.html"):
        html = page(out, address)
        assert 'id="stress' not in html and "Before and after" not in html
    assert not list((out / "data").glob("shift*"))
