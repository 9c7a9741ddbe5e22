"""Wafers against earlier maps: what counts, what is said, and what chance does."""

import numpy as np
import pytest
from scipy.stats import norm, spearmanr

from sitegen.compute.identity import identity_findings, wafer_identities
from sitegen.compute.stats.surface import without_surface
from sitegen.model.campaign import Layout
from tests.faults import touchdown_scenes as scenes
from tests.faults.touchdown_records import campaign
from tests.faults.touchdown_scenes import places, sound

layout_or_none = campaign().layout
assert layout_or_none is not None
LAYOUT: Layout = layout_or_none


def test_a_wafer_that_is_itself_raises_no_doubt() -> None:
    scene = sound(1)
    found = wafer_identities(scene.values(), scene.earlier_values(), LAYOUT)
    assert [one.wafer for one in found] == ["W1", "W2", "W3"]
    for one in found:
        assert one.best is not None and one.best.own > 0.4 > one.best.correlation
        assert one.best.beyond < 0
    assert identity_findings(found) == ()


def test_swapped_wafers_are_named_with_each_other() -> None:
    scene = scenes.swapped(sound(2), 2)
    found = identity_findings(wafer_identities(scene.values(), scene.earlier_values(), LAYOUT))
    assert [one.subject for one in found] == ["wafer W1", "wafer W2"]
    assert "agrees with the earlier map of W2 better than with its own" in found[0].text
    assert "97 dies and 4 parameters" in found[0].text
    assert found[0].weight == "decision"


def test_the_correlation_is_scipys_on_ranks_without_their_surface() -> None:
    scene = scenes.swapped(sound(2), 2)
    only = scene.values().query("parameter == 'GM'")
    (one, *_) = wafer_identities(only, scene.earlier_values().query("parameter == 'GM'"), LAYOUT)
    x, y = places().T

    def detail(values: np.ndarray) -> np.ndarray:
        return without_surface(values.argsort().argsort() + 1.0, x, y)

    expected = spearmanr(detail(scene.measured[0, :, 3]), detail(scene.earlier[1, :, 3]))
    assert one.best is not None and one.best.wafer == "W2"
    assert one.best.correlation == pytest.approx(expected.statistic, abs=1e-12)
    own = spearmanr(detail(scene.measured[0, :, 3]), detail(scene.earlier[0, :, 3])).statistic
    wanted = np.arctanh(expected.statistic) / np.sqrt(1.06 / 94)
    assert one.best.distinct == pytest.approx(wanted, rel=1e-9)
    difference = (np.arctanh(expected.statistic) - np.arctanh(own)) / np.sqrt(2 * 1.06 / 94)
    assert one.best.beyond == pytest.approx(difference, rel=1e-9)
    assert one.needed == pytest.approx(norm.isf(1e-3 / (3 * 23)), rel=1e-9)


def test_quarter_turns_need_equal_pitches() -> None:
    scene = scenes.turned(((0, -1), (1, 0)))(sound(4), 4)
    values, earlier = scene.values(), scene.earlier_values()
    assert identity_findings(wafer_identities(values, earlier, LAYOUT))
    oblong = LAYOUT.model_copy(update={"die_pitch_y_mm": 11.0})
    assert not identity_findings(wafer_identities(values, earlier, oblong))


def test_only_wafers_with_an_earlier_map_are_asked() -> None:
    scene = scenes.swapped(sound(2), 2)
    earlier = scene.earlier_values().query("wafer == 'W2'")
    (one,) = wafer_identities(scene.values(), earlier, LAYOUT)
    assert one.wafer == "W2" and one.best is not None and one.best.wafer == "W2"
    nothing = wafer_identities(scene.values(), scene.earlier_values().iloc[:0], LAYOUT)
    assert nothing == () and identity_findings(nothing) == ()


def test_maps_without_a_parameter_in_common_cannot_be_compared() -> None:
    scene = sound(2)
    earlier = scene.earlier_values().assign(condition="HOT")
    found = wafer_identities(scene.values(), earlier, LAYOUT)
    assert [one.best for one in found] == [None] * 3
    assert identity_findings(found) == ()


def test_the_earlier_map_of_another_process_step_is_no_doubt() -> None:
    """Earlier maps that have nothing to do with what is measured: 20 campaigns, no alarm."""
    for seed in range(20):
        values, earlier = sound(seed).values(), sound(1000 + seed).earlier_values()
        assert not identity_findings(wafer_identities(values, earlier, LAYOUT))
