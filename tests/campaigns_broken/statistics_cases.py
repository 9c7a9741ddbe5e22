"""The tiny campaign with something declared for the statistics that leads nowhere."""

from collections.abc import Callable
from pathlib import Path

from tests.campaigns_broken.cases import CAMPAIGN, WAFER, Case, Left, append, both, replace

SECOND_WAFER = '\n[[plan.wafers]]\nid = "W2"\n'
SPLITS = """
[[splits]]
id = "A"
name = "reference"
wafers = ["W1"]

[[splits]]
id = "B"
name = "longer anneal (invented)"
wafers = ["W2"]
"""
STUDY = """
[[studies]]
id = "S1"
between = "operators"
wafers = ["W1", "W2"]
"""
STRESS = """
[[stresses]]
id = "HTS"
name = "168 h at 125 °C (invented)"
pairs = [{ before = "W1", after = "W2" }]
"""
CONTROLS = 'controls = [{ before = "W3", after = "W2" }]\n'


def pair(x: str, x_condition: str, y: str, y_condition: str) -> str:
    return (
        f'\n[[pairs]]\nx = "{x}"\nx_condition = "{x_condition}"\ny = "{y}"\n'
        f'y_condition = "{y_condition}"\n'
    )


STARTED = "started = 2026-03-02T08:30:00Z"
FOR_STUDY = replace(WAFER, STARTED, f"{STARTED}\nonly_for_study = true")
METER = 'uncertainty = [{ source = "meter", absolute = 1.0 }]'
PAIR = pair("VTH", "sat", "IOFF", "sat")


def declared(*texts: str) -> Callable[[Path], object]:
    """A second planned wafer, and what is declared of both."""
    return append(CAMPAIGN, "".join((SECOND_WAFER, *texts)))


def again(**changes: str) -> Callable[[Path], object]:
    """A second record of wafer W1 without tables, nine days later, with other texts in it."""

    def broken(folder: Path) -> None:
        (folder / "wafers/W2").mkdir()
        text = (folder / WAFER).read_text("utf-8").partition("[[values]]")[0]
        text = text.replace('id = "W1"', 'id = "W2"', 1)
        for old, new in {"2026-03-02T": "2026-03-11T", **changes}.items():
            assert old in text
            text = text.replace(old, new)
        (folder / "wafers/W2/wafer.toml").write_text(text, encoding="utf-8")

    return broken


def with_reticle(origin: str) -> Callable[[Path], object]:
    kept = "edge_exclusion_mm = 3.0"
    field = f"reticle = {{ columns = 2, rows = 2, origin_die = {origin} }}"
    return replace(CAMPAIGN, kept, f"{kept}\n{field}")


def refused(
    name: str,
    broken_by: Callable[[Path], object],
    place: str,
    found: str,
    expected: str,
    remedy: str,
) -> Case:
    """A case of campaign.toml, against which everything else is read: nothing is left."""
    return Case(name, broken_by, CAMPAIGN, place, found, expected, remedy, None)


TWO_WAFERS = Left(wafers=2)
WHOLE_STATISTICS = both(with_reticle("[0, 0]"), declared(PAIR, SPLITS, STUDY))
"""Everything declared, and everything leads somewhere."""
STATISTICS_CASES: tuple[Case, ...] = (
    refused(
        "pair of an unknown parameter",
        declared(pair("VTH", "sat", "IOF", "sat")),
        "pairs[1].y",
        'the unknown parameter "IOF"',
        '"IOFF"',
        'Write "IOFF"',
    ),
    refused(
        "pair under a condition that the parameter does not have",
        declared(pair("L", "sat", "IOFF", "sat")),
        "pairs[1].x_condition",
        '"sat" with the parameter "L"',
        '"rf", the parameter\'s conditions',
        "Correct the condition",
    ),
    refused(
        "pair of a parameter with itself",
        declared(pair("VTH", "sat", "VTH", "sat")),
        "pairs[1].y",
        "the same parameter and condition as 'x'",
        "another parameter, or another condition",
        "Correct one",
    ),
    refused(
        "pair twice, the other way round",
        declared(PAIR, pair("IOFF", "sat", "VTH", "sat")),
        "pairs[2]",
        "the same two as entry 1 has",
        "each pair once",
        "Remove one",
    ),
    refused(
        "split of a wafer that nobody planned",
        declared(SPLITS.replace('["W2"]', '["W2", "W7"]')),
        'splits[2].wafers (id "B")',
        'the unknown wafer "W7"',
        '"W1" or "W2"',
        "[[plan.wafers]]",
    ),
    refused(
        "wafer in two splits",
        declared(SPLITS.replace('["W2"]', '["W2", "W1"]')),
        'splits[2].wafers (id "B")',
        'wafer "W1", which is in the split "A" already',
        "each wafer in one split",
        "Remove it from one",
    ),
    refused(
        "wafer twice in a split",
        declared(SPLITS.replace('["W2"]', '["W2", "W2"]')),
        'splits[2].wafers (id "B")',
        'wafer "W2" 2 times',
        "each wafer once",
        "Remove",
    ),
    refused(
        "split alone",
        declared(SPLITS.partition('\n[[splits]]\nid = "B"')[0]),
        'splits[1] (id "A")',
        "one split alone",
        "two splits or more",
        "Declare the other wafers",
    ),
    refused(
        "id of two splits",
        declared(SPLITS.replace('id = "B"', 'id = "a"')),
        "splits[2].id",
        'the id "a", which entry 1 has already',
        "capitals",
        "another id",
    ),
    refused(
        "id of two studies",
        declared(STUDY, STUDY),
        "studies[2].id",
        'the id "S1", which entry 1 has already',
        "capitals",
        "another id",
    ),
    refused(
        "study of a wafer that nobody planned",
        declared(STUDY.replace('"W2"', '"W3"')),
        'studies[1].wafers (id "S1")',
        'the unknown wafer "W3"',
        '"W1" or "W2"',
        "[[plan.wafers]]",
    ),
    refused(
        "study of one wafer alone, named twice",
        declared(STUDY.replace('"W2"', '"W1"')),
        'studies[1].wafers (id "S1")',
        'wafer "W1" 2 times',
        "each wafer once",
        "Remove",
    ),
    refused(
        "field of exposure that begins beside the wafer",
        with_reticle("[9, 9]"),
        "layout.reticle.origin_die",
        "die (9, 9), whose centre lies off the wafer",
        "50 mm of the wafer's centre",
        "Correct the die's numbers",
    ),
    refused(
        "lower end of a yield that is to reach the whole",
        append(CAMPAIGN, '\n[verdict]\nwafer_least_share = 1.0\nwafer_by = "lower end"\n'),
        "verdict",
        "entries that do not go together",
        "must be less than 1 where 'wafer_by' is \"lower end\"",
        "Correct what breaks the rule",
    ),
    refused(
        "absolute uncertainty beyond sense",
        replace(CAMPAIGN, METER, METER.replace("1.0", "1e300")),
        "parameters[1].uncertainty[1].absolute",
        "1e+300",
        "a number not greater than 1e+30",
        "Correct the number",
    ),
    refused(
        "relative uncertainty beyond sense",
        replace(CAMPAIGN, METER, METER.replace("absolute = 1.0", "relative = 1e300")),
        "parameters[1].uncertainty[1].relative",
        "1e+300",
        "a number not greater than 1e+30",
        "Correct the number",
    ),
    refused(
        "temperature coefficient beyond sense",
        replace(CAMPAIGN, METER, f"{METER}\ntemperature_coefficient_per_c = -1e300"),
        "parameters[1].temperature_coefficient_per_c",
        "-1e+300",
        "a number not less than -1e+30",
        "Correct the number",
    ),
    refused(
        "coverage factor beyond sense",
        replace(CAMPAIGN, 'rule = "simple"', 'rule = "guarded"\ncoverage_factor = 1e300'),
        "decision.coverage_factor",
        "1e+300",
        "a number not greater than 1e+30",
        "Correct the number",
    ),
    Case(
        "wafer for a study that none names",
        FOR_STUDY,
        WAFER,
        "only_for_study",
        "no study of campaign.toml names this wafer",
        "a study under [[studies]]",
        "Name it there",
    ),
    Case(
        "wafer for a study in a split",
        both(FOR_STUDY, declared(SPLITS, STUDY)),
        WAFER,
        "only_for_study",
        'the split "A" names this wafer',
        "wafers of splits that take part",
        "Take it out of the split",
    ),
    refused(
        "stress after which a wafer is unknown",
        declared(STRESS.replace('after = "W2"', 'after = "W9"')),
        "stresses[1].pairs[1].after",
        'the unknown wafer "W9"',
        '"W1" or "W2"',
        "[[plan.wafers]]",
    ),
    refused(
        "stress with one record before and after it",
        declared(STRESS.replace('after = "W2"', 'after = "W1"')),
        "stresses[1].pairs[1].after",
        'wafer "W1", which stresses[1].pairs[1].before names already',
        "each wafer record once in a stress",
        "Correct one",
    ),
    refused(
        "stress with a wafer among its controls as well",
        declared('\n[[plan.wafers]]\nid = "W3"\n', STRESS, CONTROLS),
        "stresses[1].controls[1].after",
        'wafer "W2", which stresses[1].pairs[1].after names already',
        "each wafer record once in a stress",
        "Correct one",
    ),
    refused(
        "id of two stresses",
        declared(STRESS, STRESS),
        "stresses[2].id",
        'the id "HTS", which entry 1 has already',
        "capitals",
        "another id",
    ),
    refused(
        "stress without a pair",
        declared(STRESS.replace('[{ before = "W1", after = "W2" }]', "[]")),
        "stresses[1].pairs",
        "",
        "",
        "",
    ),
    refused(
        "split of a wafer after a stress",
        declared(STRESS, SPLITS),
        'splits[2].wafers (id "B")',
        "wafer \"W2\", which a stress names as 'after'",
        "wafers that take part in the statistics",
        "before the stress instead",
    ),
    refused(
        "greatest shift of nothing",
        replace(CAMPAIGN, METER, f"{METER}\nshift_max = 0.0"),
        "parameters[1].shift_max",
        "0",
        "a number greater than 0",
        "Correct the number",
    ),
    Case(
        "stress before its wafer was measured",
        both(again(**{"2026-03-11T": "2026-03-01T"}), declared(STRESS)),
        CAMPAIGN,
        "stresses[1].pairs[1].after",
        "W2, which was started on 2026-03-01T08:30:00+00:00",
        "a record begun after W1 was finished",
        "Until then the two are not compared",
        left=TWO_WAFERS,
    ),
    Case(
        "stress of a wafer of another lot",
        both(again(**{'lot = "TINY"': 'lot = "TINIER"'}), declared(STRESS)),
        CAMPAIGN,
        "stresses[1].pairs[1].after",
        'W2 with the lot "TINIER"',
        '"TINY", as W1 has: the two are one wafer',
        "Until then the two are not compared",
        left=TWO_WAFERS,
    ),
    Case(
        "stress of another wafer by its identity",
        both(again(**{'identity_read = "W1"': 'identity_read = "W5"'}), declared(STRESS)),
        CAMPAIGN,
        "stresses[1].pairs[1].after",
        'W2 with the identity as read "W5"',
        '"W1", as W1 has: the two are one wafer',
        "Until then the two are not compared",
        left=TWO_WAFERS,
    ),
)
