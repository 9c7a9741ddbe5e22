"""Values that parameters take from a wafer's sweeps, with all parts of their uncertainty.

Printed numbers of the hybrid-pi transistor (gm 0.1 S, gds 5 mS, Cgs 80 fF, Cgd 20 fF, Cds 30 fF,
Rg 5 ohm) come from an independent program and from its closed forms, as in `rf.test_transistors`:
fT = gm/(2 pi (Cgs + Cgd)), fmax = fT/(2 sqrt(Rg (gds + 2 pi fT Cgd))).
"""

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest

from sitegen.compute.calibration import SolvedCalibration, solve
from sitegen.compute.perturbations import with_uncertainty
from sitegen.compute.rf import portions, propagated
from sitegen.compute.sweep_values import (
    PARTS,
    SweepValues,
    median_by_source,
    median_details,
    values_from_sweeps,
)
from sitegen.compute.value_texts import OTHER_CALIBRATION
from sitegen.model.arrays import ComplexArray
from tests.compute import simulated_calibration as sc
from tests.compute.device_wafer import group, measured, parameter, setting, stripped
from tests.compute.events import instrument
from tests.compute.rf import forward as fw
from tests.compute.rf.transistors import HybridPi

FREQUENCY_HZ = np.linspace(0.5e9, 110e9, 220)
W = 2.0 * np.pi * FREQUENCY_HZ[:, np.newaxis, np.newaxis]
PADS = np.array([[28e-15, -3e-15], [-3e-15, 31e-15]]) * 1j * W
LEADS = np.array([[0.35, 0.05], [0.05, 0.4]]) + np.diag([35e-12, 30e-12]) * 1j * W
AT_10: dict[str, Any] = {"frequency_hz": 10e9}


@cache
def calibration(exact: bool = False) -> SolvedCalibration:
    """SOLT of a simulated station: with standards as defined and no noise, or with all sources."""
    at = fw.station(3, FREQUENCY_HZ)
    sizes = sc.Sizes() if exact else sc.USUAL
    loaded = sc.calibration("SOLT", at, FREQUENCY_HZ, sizes, np.random.default_rng(1))
    return solve(loaded, instrument()) if exact else with_uncertainty(solve(loaded, instrument()))


def at_tips(y_or_none: ComplexArray | None, inner: ComplexArray | None = None) -> ComplexArray:
    """Raw sweep (n_freq, 2, 2) of an admittance, of pads alone, or of an impedance behind them."""
    y = PADS + (0.0 if y_or_none is None else y_or_none)
    if inner is not None:
        y = PADS + np.linalg.inv(LEADS + inner)
    s = (np.eye(2) - 50.0 * y) @ np.linalg.inv(np.eye(2) + 50.0 * y)
    return np.asarray(fw.raw_sweep(fw.station(3, FREQUENCY_HZ), s))


OPEN, SHORT = at_tips(None), at_tips(np.linalg.inv(LEADS))
FET = at_tips(None, HybridPi().impedance(FREQUENCY_HZ))


def taken(
    *parameters: dict[str, Any],
    exact: bool = False,
    n: int = 2,
    cold: ComplexArray | None = None,
    fet: ComplexArray = FET,
    calibrated: str | None = "CAL-1",
    **pads: Any,
) -> SweepValues:
    """Values of FET on n dies, each with dummies of its own besides."""
    solved = calibration(exact)
    here = setting(solved, parameters, **pads)
    raw, conditions = [fet] * n, ["rf"] * n
    if cold is not None:
        raw, conditions = [*raw, cold], [*conditions, "cold"]
    groups = [
        measured(solved, "FET", np.array(raw), condition=conditions, calibration=calibrated),
        measured(solved, "OPEN", np.array([OPEN] * n)),
        measured(solved, "SHORT", np.array([SHORT] * n)),
    ]
    return values_from_sweeps(stripped(groups, here)["FET"], here.campaign.parameters, here)


@pytest.mark.parametrize(
    ("figure", "unit", "place", "printed", "half_digit"),
    [
        ("h21 magnitude", "dB", AT_10, 24.037088, 5e-7),
        ("unilateral gain", "dB", AT_10, 27.046703, 5e-7),
        ("stability factor K", "1", AT_10, 0.09109899, 5e-9),
        ("stability factor mu", "1", AT_10, 0.164205, 5e-7),
        ("maximum stable gain", "dB", AT_10, 19.008244, 5e-7),
        (
            "transit frequency by extrapolation",
            "GHz",
            {"window_hz": (10e9, 20e9)},
            159.184,
            5e-4,
        ),
        (
            "transit frequency by extrapolation",
            "GHz",
            {"window_hz": (20e9, 110e9)},
            159.769,
            5e-4,
        ),
        (
            "maximum frequency of oscillation from U",
            "GHz",
            {"window_hz": (10e9, 110e9)},
            225.079079,
            5e-7,
        ),
        ("transconductance", "mS", AT_10, 100.0, 1e-6),
        ("output conductance", "mS", {"window_hz": (5e9, 40e9)}, 5.0, 1e-6),
        ("gate-source capacitance", "fF", AT_10, 80.0, 1e-6),
        ("gate-drain capacitance", "fF", AT_10, 20.0, 1e-6),
        ("drain-source capacitance", "fF", AT_10, 30.0, 1e-6),
        ("gate resistance", "ohm", {"window_hz": (5e9, 40e9)}, 5.0, 1e-6),
    ],
)
def test_the_hybrid_pi_through_pads_and_a_raw_calibration(
    figure: str, unit: str, place: dict[str, Any], printed: float, half_digit: float
) -> None:
    rows = taken(parameter("P", figure, unit, **place), exact=True).rows
    assert rows["value"].to_numpy() == pytest.approx([printed] * 2, abs=half_digit)


def test_through_pads_alone_the_transistor_is_another() -> None:
    """|h21| f of 124.178 GHz at 10 GHz is printed for nearly these pads (25, 28 and 3 fF)."""
    at = parameter("P", "h21 magnitude", "dB", **AT_10, deembedded=False)
    level = taken(at, exact=True).rows["value"][0]
    assert 10.0 * 10.0 ** (level / 20.0) == pytest.approx(124.2, abs=0.5)


def test_access_resistances_come_from_the_cold_sweep_of_the_die() -> None:
    through_channel = HybridPi(rs=2.0, rd=3.0)
    cold = HybridPi(gm=0.0, gds=0.0, rs=2.0, rd=3.0)
    gm = parameter("P", "transconductance", "mS", **AT_10, access_condition="cold")
    found = taken(
        gm,
        parameter("Q", "transconductance", "mS", **AT_10),
        exact=True,
        fet=at_tips(None, through_channel.impedance(FREQUENCY_HZ)),
        cold=at_tips(None, cold.impedance(FREQUENCY_HZ)),
    ).rows
    with_access = found[found["parameter"] == "P"]
    assert with_access["value"].to_numpy()[0] == pytest.approx(100.0, abs=1e-5)
    assert np.isnan(with_access["value"].to_numpy()[1])
    assert with_access["no_value"].tolist()[1].startswith("no sweep under cold")
    assert found[found["parameter"] == "Q"]["value"].to_numpy()[0] < 95.0


def test_the_parts_are_those_of_the_budget_by_source() -> None:
    ft = parameter("FT", "transit frequency by extrapolation", "GHz", window_hz=(10e9, 40e9))
    found = taken(ft)
    row = found.rows.iloc[0]
    budget = median_by_source(found.by_source)["FT", "rf"]
    own = [budget.pop(name) for name in list(budget) if "the sweep" in name or "touch" in name]
    dummies, extraction = budget.pop("dummy structures"), budget.pop("extraction")
    assert len(own) == 4
    assert np.hypot.reduce(own) == pytest.approx(row["u_own"])
    assert np.hypot.reduce(list(budget.values())) == pytest.approx(row["u_calibration"])
    assert np.hypot(row["u_calibration"], dummies) == pytest.approx(row["u_common"])
    assert extraction == pytest.approx(row["u_extraction"])
    assert row["remarks"] == "extrapolated beyond the last point, 40\u202fGHz"
    assert median_details(found.by_source)["FT", "rf"]["share_used"] == 1.0


def test_dummies_of_each_die_are_its_own() -> None:
    gm = parameter("P", "transconductance", "mS", **AT_10)
    shared, own = taken(gm).rows.iloc[0], taken(gm, taken_from="each die").rows.iloc[0]
    assert own["u_dummies"] == pytest.approx(shared["u_dummies"])
    assert own["u_common"] == pytest.approx(own["u_calibration"])
    assert own["u_own"] == pytest.approx(np.hypot(shared["u_own"], shared["u_dummies"]))


def test_device_and_dummies_of_one_calibration_cancel_what_they_share() -> None:
    """A capacitance to ground that is all but the pads': its calibration's errors mostly cancel."""
    small = at_tips(np.diag([2e-15, 2e-15]) * 1j * W)
    c = parameter("C", "shunt capacitance", "fF", **AT_10)
    rows = taken(c, fet=small).rows
    bare = taken(
        parameter("C", "shunt capacitance", "fF", **AT_10, deembedded=False), fet=small
    ).rows
    assert rows["value"][0] == pytest.approx(2.0, abs=0.4)
    assert rows["u_calibration"][0] < 0.2 * bare["u_calibration"][0]


def test_without_a_stated_calibration_nothing_is_stated() -> None:
    gm = parameter("P", "transconductance", "mS", window_hz=(8e9, 24e9))
    for rows in (taken(gm, calibrated=None).rows, taken(gm, exact=True).rows):
        assert rows["value"].notna().all()
        assert rows[list(PARTS)].isna().all(axis=None)
    here = setting(calibration(), [gm], taken_from="each die")
    corrected = [
        group(name, FREQUENCY_HZ, np.array([s]), corrected=True)
        for name, s in (("FET", FET), ("OPEN", OPEN), ("SHORT", SHORT))
    ]
    found = values_from_sweeps(stripped(corrected, here)["FET"], here.campaign.parameters, here)
    assert found.rows[list(PARTS)].isna().all(axis=None)


def test_why_there_is_no_value_and_what_is_to_be_known() -> None:
    ft = "transit frequency by extrapolation"
    rows = taken(
        parameter("BEYOND", "h21 magnitude", "dB", frequency_hz=200e9),
        parameter("NONE", ft, "GHz", window_hz=(111e9, 120e9)),
        parameter("PART", ft, "GHz", window_hz=(90e9, 120e9)),
        parameter("HIGH", "h21 magnitude", "dB", frequency_hz=60e9),
        n=1,
        upper_hz=50e9,
    ).rows
    no_value, remarks = (
        dict(zip(rows["parameter"], rows[column].astype(str), strict=True))
        for column in ("no_value", "remarks")
    )
    span = "the sweep from 500\u202fMHz to 110\u202fGHz"
    assert no_value["BEYOND"] == f"200\u202fGHz lies outside {span}"
    assert no_value["NONE"].startswith(f"no point of {span} lies in the window")
    assert "covers only 90\u202fGHz to 110\u202fGHz of the window" in remarks["PART"]
    assert remarks["HIGH"] == "above the upper frequency of the de-embedding, 50\u202fGHz"
    assert no_value["HIGH"] == ""


def test_a_sweep_that_is_not_there_says_so() -> None:
    unknown = np.full_like(FET, complex(np.nan, np.nan))
    rows = taken(parameter("P", "h21 magnitude", "dB", **AT_10), fet=unknown).rows
    assert rows["no_value"].tolist() == ["not determined at this frequency"] * 2
    assert rows[["value", *PARTS]].isna().all(axis=None)
    window = parameter(
        "P", "maximum frequency of oscillation from MAG", "GHz", window_hz=(1e9, 9e9)
    )
    assert "K is below 1" in taken(window, exact=True).rows["no_value"][0]


def test_dummies_on_another_calibration_are_told() -> None:
    solved = calibration()
    assert solved.terms is not None and solved.uncertainty is not None
    gm = parameter("P", "transconductance", "mS", **AT_10)
    bare = parameter("B", "transconductance", "mS", **AT_10, deembedded=False)
    both = ("CAL-1", "CAL-2")
    here = replace(
        setting(solved, [gm, bare]),
        terms=dict.fromkeys(both, solved.terms),
        uncertainties=dict.fromkeys(both, solved.uncertainty),
    )
    groups = [
        measured(solved, "FET", np.array([FET] * 2)),
        measured(solved, "OPEN", np.array([OPEN])),
        measured(solved, "SHORT", np.array([SHORT]), calibration="CAL-2"),
    ]
    rows = values_from_sweeps(stripped(groups, here)["FET"], here.campaign.parameters, here)
    said = rows.rows.groupby("parameter")["remarks"].agg(list).to_dict()
    assert said == {"P": [OTHER_CALIBRATION] * 2, "B": ["", ""]}
    assert OTHER_CALIBRATION not in "".join(taken(gm).rows["remarks"])


@pytest.mark.parametrize("just_above", [True, False])
def test_a_self_resonance_at_the_edge_of_its_cell_has_a_u(
    just_above: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Moved by its u it lies between two other points: these are kept besides those it is from."""
    resonance_hz = 40e9 + (2e6 if just_above else -2e6)
    capacitance_f = 1.0 / ((2 * np.pi * resonance_hz) ** 2 * 0.5e-9)
    inductor = np.diag([1.0, 1.0]) * (1j * W * capacitance_f + 1.0 / (1j * W * 0.5e-9) + 1e-4)
    s = np.asarray((np.eye(2) - 50.0 * inductor) @ np.linalg.inv(np.eye(2) + 50.0 * inductor))
    here = setting(calibration(), [parameter("F", "self-resonance", "GHz", "IND")])

    def row() -> "pd.Series[Any]":
        group_s = stripped([group("IND", FREQUENCY_HZ, s[np.newaxis])], here)["IND"]
        return values_from_sweeps(group_s, here.campaign.parameters, here).rows.iloc[0]

    found = row()
    assert found["value"] == pytest.approx(resonance_hz / 1e9, abs=1e-4)
    assert found["u_common"] > 0.01
    monkeypatch.setattr(propagated, "FURTHER", 0)
    assert np.isnan(row()["u_common"])


@pytest.mark.parametrize("slope_by", ["ratio", "anew"])
def test_a_slope_that_calibration_and_dummies_tilt_is_counted_once(slope_by: str) -> None:
    """The gain falls by 19.99 dB per decade; what is found otherwise is the sources' doing."""
    access = {"access_condition": "cold"} if slope_by == "anew" else {}
    cold = HybridPi(gm=0.0, gds=0.0, rs=2.0, rd=3.0)
    found = taken(
        parameter(
            "FT", "transit frequency by extrapolation", "GHz", window_hz=(10e9, 40e9), **access
        ),
        fet=at_tips(None, HybridPi(rs=2.0, rd=3.0).impedance(FREQUENCY_HZ)),
        cold=at_tips(None, cold.impedance(FREQUENCY_HZ)),
        n=1,
    )
    row = found.rows.iloc[0]
    assert row["u_common"] > 0.0
    assert row["u_extraction"] < 0.3 * np.hypot(row["u_common"], row["u_own"])
    assert "u_slope_db_per_decade" not in median_details(found.by_source)["FT", "rf"]


@pytest.mark.parametrize("taken_from", ["one die of the wafer", "each die"])
def test_sweeps_worked_on_in_portions_give_the_same(
    taken_from: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One sweep at a time, or all five at once; one of them is not there. In double precision."""
    monkeypatch.setattr(propagated, "PRECISION", np.complex128)
    parameters = (
        parameter("FT", "transit frequency by extrapolation", "GHz", window_hz=(10e9, 40e9)),
        parameter("GM", "transconductance", "mS", window_hz=(8e9, 24e9)),
        parameter("H", "h21 magnitude", "dB", frequency_hz=10.1e9),
    )
    cold = at_tips(None, HybridPi(gm=0.0, gds=0.0, rs=2.0, rd=3.0).impedance(FREQUENCY_HZ))
    fets = np.array([FET, FET * 1.001, np.full_like(FET, np.nan), FET * 0.999, cold])
    found = []
    for elements in (1, 10**9):
        monkeypatch.setattr(portions, "_ELEMENTS", elements)
        solved = calibration()
        here = setting(solved, parameters, taken_from=taken_from)
        groups = [
            measured(solved, name, s)
            for name, s in (
                ("FET", fets),
                ("OPEN", np.array([OPEN] * 5)),
                ("SHORT", np.array([SHORT] * 5)),
            )
        ]
        of_device = stripped(groups, here)["FET"]
        found.append(values_from_sweeps(of_device, here.campaign.parameters, here).rows)
    assert found[0][["value", "u_common"]].notna().to_numpy().sum() >= 2 * 9
    pd.testing.assert_frame_equal(found[0], found[1], rtol=1e-9)


def test_no_parameter_no_rows() -> None:
    found = taken()
    assert found.rows.empty and found.by_source == ()
    assert {"value", "no_value", "remarks", *PARTS} <= set(found.rows.columns)
    assert isinstance(found.rows, pd.DataFrame)


def test_a_one_port_sweep_is_the_first_port_of_a_two_port() -> None:
    """The same figure as of a two-port that lets nothing through, with no u from its port 2."""
    inductor = np.array([[1.0, -1.0], [-1.0, 1.0]]) / (2.0 + 1j * W * 0.5e-9)
    s = np.asarray((np.eye(2) - 50.0 * inductor) @ np.linalg.inv(np.eye(2) + 50.0 * inductor))
    alone = s.copy()
    alone[:, 0, 1] = alone[:, 1, 0] = 0.0
    at = parameter("R", "shunt resistance", "ohm", "IND", **AT_10)
    here = setting(calibration(), [at])
    found = {
        n_ports: values_from_sweeps(
            stripped([group("IND", FREQUENCY_HZ, alone[np.newaxis, :, :n_ports, :n_ports])], here)[
                "IND"
            ],
            here.campaign.parameters,
            here,
        ).rows.iloc[0]
        for n_ports in (1, 2)
    }
    assert found[1]["value"] == pytest.approx(found[2]["value"], rel=1e-12)
    assert 0.0 < found[1]["u_common"] <= 1.2 * found[2]["u_common"]
    assert found[1]["u_own"] > 0.0
