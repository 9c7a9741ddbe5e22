"""Which dummies serve which sweeps of a wafer, and what is said where none do."""

from dataclasses import replace
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from sitegen.compute.dummies import Stripped, campaign_dummies, deembed_groups
from sitegen.compute.evidence import REASON_CODES
from sitegen.compute.rf.entries import by_entry
from sitegen.compute.sweep_quality import quality_findings, sweep_qualities, with_flags
from sitegen.compute.sweeps import CorrectedGroup
from tests.compute.device_wafer import group, parameter, setting
from tests.compute.rf.transistors import HybridPi

F_HZ = np.linspace(1e9, 40e9, 40)
BAND_HZ = (2e9, 20e9)
W = 2j * np.pi * F_HZ
Matrix = np.ndarray[Any, np.dtype[Any]]


def s_of(y: Matrix) -> Matrix:
    return np.asarray((np.eye(2) - 50 * y) @ np.linalg.inv(np.eye(2) + 50 * y))


def diagonal(one: Any) -> Matrix:
    return np.asarray(one)[:, None, None] * np.eye(2, dtype=complex)


def inv_of_transistor() -> Matrix:
    return np.asarray(np.linalg.inv(HybridPi().impedance(F_HZ)))


def wafer(n: int = 4) -> list[CorrectedGroup]:
    """Dies (0, 0) to (n - 1, 0); the pads of die k have (20 + 2 k) fF."""
    fet, opens, shorts = [], [], []
    inner = inv_of_transistor()
    leads = diagonal(0.3 + W * 30e-12)
    for die in range(n):
        pads = diagonal(W * (20 + 2 * die) * 1e-15)
        fet.append(s_of(pads + np.linalg.inv(leads + np.linalg.inv(inner))))
        opens.append(s_of(pads))
        shorts.append(s_of(pads + np.linalg.inv(leads)))
    return [
        group(name, F_HZ, np.array(s), corrected=True)
        for name, s in (("FET", fet), ("OPEN", opens), ("SHORT", shorts))
    ]


def strip(groups: list[CorrectedGroup], **pads: Any) -> Stripped:
    return deembed_groups(groups, setting(None, (), **pads), "W")


def served(found: Stripped) -> list[bool]:
    """Which sweeps of the transistor came out right."""
    s = found.groups[0].s
    assert s is not None
    return [bool(np.allclose(one, HybridPi().s(F_HZ), atol=1e-9)) for one in s]


def test_each_die_has_its_own_dummies() -> None:
    found = strip(wafer(), taken_from="each die")
    assert served(found) == [True] * 4
    assert not found.groups[0].shared and found.findings == ()
    use = found.uses[0]
    assert (use.served, use.unserved, use.die, use.wafer) == (4, 0, None, "W")
    assert use.parasitics["C1"][0] == pytest.approx(23e-15)
    assert use.parasitics["L1"][0] == pytest.approx(30e-12)
    assert found.groups[1].s is None and found.groups[1].dummies == {}


@pytest.mark.parametrize("taken_from", ["each die", "one die of the wafer"])
def test_what_is_stripped_lies_by_entry(taken_from: str) -> None:
    """So that figures take each S-parameter without a copy."""
    s = strip(wafer(), taken_from=taken_from).groups[0].s
    assert s is not None and np.shares_memory(by_entry(s), s)


@pytest.mark.parametrize(("die", "used"), [(None, (0, 0)), ((2, 0), (2, 0))])
def test_the_dummies_of_one_die_serve_the_wafer(die: Any, used: tuple[int, int]) -> None:
    found = strip(wafer(), taken_from="one die of the wafer", die=die)
    assert served(found) == [place == used[0] for place in range(4)]
    assert found.groups[0].shared and found.uses[0].die == used
    assert all(len(one.s) == 1 for one in found.groups[0].dummies.values())


def without_standing(one: CorrectedGroup, rows: list[int]) -> CorrectedGroup:
    reasons = one.evidence.reasons.copy()
    reasons[rows] |= 1 << REASON_CODES.index("calibration missing")
    return replace(one, evidence=replace(one.evidence, reasons=reasons))


def test_dummies_without_standing_serve_nobody() -> None:
    fet, opens, shorts = wafer()
    found = strip([fet, without_standing(opens, [1]), shorts], taken_from="each die")
    assert served(found) == [True, False, True, True]
    assert np.isnan(found.groups[0].s[1]).all()  # type: ignore[index]
    assert (found.uses[0].served, found.uses[0].unserved) == (3, 1)
    assert found.findings[0].text == (
        "On wafer W, 1 sweep of FET was not de-embedded: OPEN has no sweep with standing on their"
        " die."
    )
    found = strip([fet, without_standing(opens, [0]), shorts])
    assert found.uses[0].die == (1, 0)
    found = strip([fet, without_standing(opens, [0]), shorts], die=(0, 0))
    assert found.uses[0].unserved == 4 and found.groups[0].dummies == {}
    assert "on die (0, 0)" in found.findings[0].text


def touchdowns(one: CorrectedGroup, numbers: list[int]) -> CorrectedGroup:
    """All on die (0, 0)."""
    keys = one.group.keys
    for name, values in (("die_x", [0] * len(numbers)), ("touchdown", numbers)):
        at = keys.schema.get_field_index(name)
        keys = keys.set_column(at, keys.schema.field(name), pa.array(values, pa.int32()))
    return replace(one, group=replace(one.group, keys=keys))


def test_of_several_touchdowns_the_first_with_standing_serves() -> None:
    fet, opens, shorts = wafer()
    again = without_standing(touchdowns(opens, [1, 4, 3, 2]), [0, 3])
    found = strip([fet, again, shorts])
    sweeps = found.groups[0].dummies["open"]
    assert np.array_equal(sweeps.s[0], opens.group.s[2])


def test_other_frequencies_serve_nobody_and_it_is_said() -> None:
    fet, opens, shorts = wafer()
    other = replace(opens, group=replace(opens.group, frequency_hz=F_HZ + 1e6))
    found = strip([fet, other, shorts])
    assert found.uses[0].unserved == 4
    assert "the frequency list of OPEN differs" in found.findings[0].text
    other = replace(opens, group=replace(opens.group, z_ref_ohm=75.0))
    assert "reference impedance" in strip([fet, other, shorts]).findings[0].text


def test_one_die_lends_its_dummies_to_the_whole_campaign() -> None:
    pads = {"taken_from": "one die of the campaign", "wafer": "W0", "die": (2, 0)}
    here = setting(None, (), **pads)
    lent = campaign_dummies(wafer(), here.devices()["FET"], here)
    found = deembed_groups(wafer(), replace(here, campaign_dummies={"FET": lent}), "W1")
    assert served(found) == [False, False, True, False]
    assert (found.uses[0].wafer, found.uses[0].die, found.groups[0].shared) == ("W0", (2, 0), True)
    assert deembed_groups(wafer(), here, "W1").uses[0].unserved == 4


def test_exchanged_dummies_are_a_finding() -> None:
    fet, opens, shorts = wafer()
    found = strip([fet, group("OPEN", F_HZ, shorts.group.s), group("SHORT", F_HZ, opens.group.s)])
    assert any("The open dummy looks like a short" in one.text for one in found.findings)
    assert {one.kind for one in found.findings} == {"dummies doubtful"}


def test_a_distributed_method_is_compared_with() -> None:
    """A thru of the lumped halves of die 0 takes off the same there, and on die k leaves 2 k fF
    outside its leads."""
    fet, opens, shorts = wafer()
    halves = diagonal(W * 20e-15)
    series = 1 / (2 * (0.3 + W * 30e-12))
    across = series[:, None, None] * np.array([[1, -1], [-1, 1]])
    thru = s_of(halves + across)
    ind = group("IND", F_HZ, np.array([thru] * 4), corrected=True)
    found = strip([fet, opens, shorts, ind], compare_thru="IND", upper_hz=20e9, die=(0, 0))
    apart = found.uses[0].distributed_difference
    one_die = strip(
        [fet, opens, shorts, ind], compare_thru="IND", upper_hz=20e9, taken_from="each die"
    )
    assert 0.0 < apart["below the upper frequency"] < 1e-9 and apart["above it"] < 1e-9
    other = one_die.uses[0].distributed_difference
    inv, inner, leads = np.linalg.inv, inv_of_transistor(), diagonal(0.3 + W * 30e-12)
    apart_of = []
    for die in range(4):
        behind = diagonal(W * 2e-15 * die) + inv(leads + inv(inner))
        apart_of.append(np.abs(s_of(inv(inv(behind) - leads)) - s_of(inner)).max(axis=(1, 2)))
    below = F_HZ <= 20e9
    expected = [np.median([one[points].max() for one in apart_of]) for points in (below, ~below)]
    assert list(other.values()) == pytest.approx(expected, rel=1e-6)


def test_every_sweep_has_its_quality_and_values_bear_its_flags() -> None:
    fet, opens, shorts = wafer()
    s = fet.group.s.copy()
    s[2, 20:, 0, 0] += 0.1
    found = strip([replace(fet, group=replace(fet.group, s=s)), opens, shorts])
    here = setting(None, ())
    table = sweep_qualities(found, here, "W")
    rows = table.to_pylist()
    assert len(rows) == 12
    assert [row["steps"] for row in rows] == ["sound"] * 2 + ["suspect"] + ["sound"] * 9
    assert {row["contact"] for row in rows} == {"sound"}
    assert {row["passivity"] for row in rows} == {"not declared"}
    assert rows[2]["step_hz"] == pytest.approx(20.5e9)
    texts = [one.text for one in quality_findings(table, "W")]
    assert len(texts) == 1 and texts[0].startswith("On wafer W, 1 of 4 sweeps of FET is flagged")
    gm = parameter("GM", "transconductance", "S", window_hz=BAND_HZ)
    campaign = setting(None, (gm,)).campaign
    ron = campaign.parameters[0].model_copy(update={"id": "RON", "kind": "dc", "from_sweep": None})
    campaign = campaign.model_copy(update={"parameters": (*campaign.parameters, ron)})
    keys = fet.group.keys.to_pandas()
    flags = with_flags(keys.assign(parameter="GM"), table, campaign)["flags"]
    assert flags.tolist() == ["", "", "step in the sweep", ""]
    flags = with_flags(keys.assign(parameter="RON", flags="self-heating"), table, campaign)["flags"]
    assert flags.tolist() == ["self-heating"] * 4, "a DC value has no sweep"


def test_without_sweeps_there_is_nothing() -> None:
    found = strip([])
    assert found.groups == () and found.uses == () and found.findings == ()
    assert sweep_qualities(found, setting(None, ()), "W").num_rows == 0
