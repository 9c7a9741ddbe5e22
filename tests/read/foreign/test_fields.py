"""What names and cells say, in the campaign's terms, and what is wrong in a source by itself."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitegen.model.mapping import FIELDS, Source
from sitegen.read.foreign.fields import declaration_troubles, resolve
from sitegen.read.foreign.model import Resolved

SWEEPS: Mapping[str, Any] = {
    "id": "station",
    "files": "{wafer}/{device}_{bias}_X{die_x}_Y{die_y}_{time}.s2p",
    "holds": "sweeps",
    "sweep": "raw",
    "conditions": ({"condition": "ON", "when": {"bias": "VG1"}},),
    "time_zone": "Europe/Berlin",
    "time_format": "%Y%m%d-%H%M%S",
}
VALUES: Mapping[str, Any] = {
    "id": "table",
    "files": "{wafer}.csv",
    "holds": "values",
    "constants": {"condition": "ON"},
    "time_from": "modification",
    "columns": (
        {"theirs": "X", "ours": "die_x"},
        {"theirs": "Y", "ours": "die_y"},
        {"theirs": "Dev", "ours": "device"},
        {"theirs": "Par", "ours": "parameter"},
        {"theirs": "Val", "ours": "value"},
    ),
}
WIDE: Mapping[str, Any] = {
    **VALUES,
    "rows": "one a die",
    "columns": (
        *VALUES["columns"][:2],
        {"theirs": "VTH [V]", "parameter": "VTH", "unit": "V"},
        {"theirs": "ION [A]", "parameter": "ION", "unit": "A"},
    ),
}


EVENTS: Mapping[str, Any] = {"id": "events", "ports": (2, 1)}


def source(base: Mapping[str, Any] = SWEEPS, **changes: Any) -> Source:
    return Source(**{**base, **changes})


def plain(**declared: Any) -> Source:
    """A source with what is needed to resolve, and nothing more."""
    return Source(id="one", files="{wafer}", holds="values", **declared)


def column(*texts: str | None) -> np.ndarray[Any, np.dtype[np.object_]]:
    return np.array([*texts, None], dtype=object)[:-1]


def said(
    declared: Source,
    modified_at: Sequence[datetime | None] = (),
    **texts: Sequence[str | None],
) -> Resolved:
    n = max((len(one) for one in texts.values()), default=len(modified_at))
    found = resolve(declared, {k: column(*v) for k, v in texts.items()}, n, modified_at)
    for values in found.columns.values():
        assert values.shape == (n,)
    for one in found.refusals:
        assert one.bad.shape == (n,) and one.bad.any()
        assert one.found(int(np.flatnonzero(one.bad)[0]))
        assert one.remedy.endswith(".") and one.remedy[0].isupper()
    return found


def resolve_one(field: str, *texts: str) -> Resolved:
    return resolve(plain(), {field: column(*texts)}, len(texts))


def lists(resolved: Resolved) -> dict[str, list[object]]:
    return {name: values.tolist() for name, values in resolved.columns.items()}


def told(resolved: Resolved) -> list[str]:
    return [
        f"{one.field} {np.flatnonzero(one.bad).tolist()}:"
        f" {one.found(int(np.flatnonzero(one.bad)[0]))}; {one.expected}; {one.remedy}"
        for one in resolved.refusals
    ]


def test_texts_and_numbers() -> None:
    found = said(
        plain(minus="m", point="p"),
        wafer=["W1", "W2"],
        die_x=["m3", "+4"],
        die_y=["-3", "4.0"],
        temperature_c=["m40p5", "25"],
        touchdown=["1", "02"],
        part=["low", "high"],
        port=["1", "2"],
    )
    assert found.refusals == ()
    assert lists(found) == {
        "wafer": ["W1", "W2"],
        "die_x": [-3, 4],
        "die_y": [-3, 4],
        "temperature_c": [-40.5, 25.0],
        "touchdown": [1, 2],
        "part": ["low", "high"],
        "port": [1, 2],
    }
    assert found.columns["die_x"].dtype == np.int64
    assert found.columns["temperature_c"].dtype == np.float64
    assert found.columns["wafer"].dtype == np.object_


def test_only_what_is_said_becomes_a_column() -> None:
    assert lists(said(plain(), bias=["VG1"], set_point_c=["25"], ambient=["1"])) == {}
    assert lists(said(plain(constants={"device": "D"}), wafer=["W"])) == {
        "wafer": ["W"],
        "device": ["D"],
    }


@pytest.mark.parametrize("n", [0, 1])
def test_few_entries(n: int) -> None:
    declared = plain(
        conditions=({"condition": "ON", "when": {"bias": "VG1"}},),
        dies={"A1": (3, 4)},
        time_zone="UTC",
    )
    found = said(
        declared, die=["A1"] * n, bias=["VG1"] * n, time=["2026-10-26T14:00"] * n, wafer=["W"] * n
    )
    assert found.refusals == ()
    assert lists(found) == {
        "wafer": ["W"] * n,
        "die_x": [3] * n,
        "die_y": [4] * n,
        "condition": ["ON"] * n,
        "measured_at": [1_793_023_200_000_000] * n,
    }


def test_what_is_empty() -> None:
    found = said(plain(), device=[None, "", " ", "D"], temperature_c=[None, "", " ", "1"])
    assert lists(found)["device"] == [None, None, None, "D"]
    np.testing.assert_array_equal(found.columns["temperature_c"], [np.nan, np.nan, np.nan, 1.0])
    assert found.refusals == ()
    (one,) = told(said(plain(), die_x=[None, "", " ", "3"]))
    assert one.startswith("die_x [0, 1, 2]: an empty entry; column of the die")
    missing = said(plain(dialect={"missing": ("n/a",)}), device=["n/a", "D"])
    assert lists(missing) == {"device": [None, "D"]}


@pytest.mark.parametrize(
    ("field", "text", "expected"),
    [
        ("die_x", "3.5", "a whole number"),
        ("die_x", "X3", "a whole number"),
        ("die_x", "9" * 30, "a whole number"),
        ("temperature_c", "cold", "a number"),
        ("temperature_c", "nan", "a number"),
        ("temperature_c", "1e999", "a number"),
        ("temperature_c", "1_0", "a number"),
        ("set_point_c", "RT", "a number"),
    ],
)
def test_what_is_no_number(field: str, text: str, expected: str) -> None:
    (one,) = told(resolve_one(field, text, "3"))
    assert one.startswith(f'{field} [0]: "{text}; {expected};'.replace(";", '";', 1))


def test_decimal_commas_are_named() -> None:
    (one,) = told(said(plain(), temperature_c=["24,8"]))
    assert "State dialect.decimal = 'comma'" in one
    found = said(plain(dialect={"decimal": "comma"}), temperature_c=["24,8", "−3,5"])
    assert lists(found) == {"temperature_c": [24.8, -3.5]}


def test_renaming_is_exact() -> None:
    declared = plain(rename={"device": {"dut": "NMOS-1"}, "set_point_c": {"RT": "25"}})
    found = said(declared, device=["dut", "DUT", "dut ", "NMOS-1", None])
    assert lists(found) == {"device": ["NMOS-1", "DUT", "dut ", "NMOS-1", None]}


def test_a_constant_fills_and_contradicts() -> None:
    declared = plain(constants={"device": "D", "touchdown": 2, "temperature_c": 25})
    found = said(declared, device=["D", None], touchdown=["2.0", None], temperature_c=["25.0", ""])
    assert found.refusals == ()
    assert lists(found) == {
        "device": ["D", "D"],
        "touchdown": [2, 2],
        "temperature_c": [25.0, 25.0],
    }
    first, second = told(said(declared, device=["D", "d"], touchdown=["1", "2"]))
    assert first.startswith('device [1]: "d"; "D", as \'constants\' of source "one" has it;')
    assert second.startswith('touchdown [0]: "1"; 2, as')


def test_dies_by_their_label() -> None:
    declared = plain(dies={"A1": (0, 3), "B1": (1, 3)})
    assert lists(said(declared, die=["B1", "A1"])) == {"die_x": [1, 0], "die_y": [3, 3]}
    first, second = told(said(declared, die=["b1", "A1", "Q9", "b1"]))
    assert first == ('die [0, 3]: the unknown die "b1"; "A1" or "B1"; Write "B1" if that is meant.')
    assert second.startswith('die [2]: the unknown die "Q9"')
    assert "Add the die to 'dies' of source" in second
    (empty,) = told(said(declared, die=["A1", None]))
    assert empty.startswith("die [1]: an empty entry")
    clash = told(said(declared, die=["A1"], die_x=["0"], die_y=["3"]))
    assert clash[0].startswith('die [0]: the die "A1" and die_x "0"; the die said in one way')


def test_many_unknown_dies_are_told_together() -> None:
    found = said(plain(dies={"A1": (0, 0)}), die=[f"Z{n}" for n in range(100)])
    assert len(found.refusals) == 9
    assert sum(int(one.bad.sum()) for one in found.refusals) == 100


RULES = plain(
    point="p",
    conditions=(
        {"condition": "ON25", "when": {"bias": "VG1", "set_point_c": 25}},
        {"condition": "ON85", "when": {"bias": "VG1", "set_point_c": "85"}},
        {"condition": "OFF", "when": {"bias": "VG0"}},
    ),
)


def test_one_rule_names_the_condition() -> None:
    found = said(
        RULES,
        bias=["VG1", "VG1", "VG0", "VG1"],
        set_point_c=["25.0", "85", None, "25p00"],
    )
    assert found.refusals == ()
    assert lists(found) == {"condition": ["ON25", "ON85", "OFF", "ON25"]}


def test_texts_are_compared_as_texts() -> None:
    declared = plain(conditions=({"condition": "A", "when": {"bias": "1"}},))
    assert lists(said(declared, bias=["1"])) == {"condition": ["A"]}
    assert len(said(declared, bias=["1.0"]).refusals) == 1
    declared = plain(conditions=({"condition": "A", "when": {"bias": 1}},))
    assert lists(said(declared, bias=["1.0"])) == {"condition": ["A"]}


def test_rules_come_after_renaming() -> None:
    declared = plain(
        rename={"bias": {"Vg=1": "VG1"}}, conditions=({"condition": "A", "when": {"bias": "VG1"}},)
    )
    assert lists(said(declared, bias=["Vg=1"])) == {"condition": ["A"]}


def test_no_rule_and_two_rules() -> None:
    found = said(
        RULES, bias=["vg1", "VG1", "VG1", None, "vg1"], set_point_c=["25", "60", None, "25", "25"]
    )
    assert found.columns["condition"].tolist() == [None] * 5
    assert [one.partition("; ")[0] for one in told(found)] == [
        'condition [0, 4]: bias "vg1", set_point_c "25", which no rule of \'conditions\' names',
        'condition [1]: bias "VG1", set_point_c "60", which no rule of \'conditions\' names',
        "condition [2]: bias \"VG1\", no set_point_c, which no rule of 'conditions' names",
        "condition [3]: no bias, set_point_c \"25\", which no rule of 'conditions' names",
    ]
    assert told(found)[0].endswith('Write "VG1" if that is meant.')
    declared = plain(
        conditions=(
            {"condition": "A", "when": {"bias": "VG1"}},
            {"condition": "B", "when": {"set_point_c": 25}},
        )
    )
    found = said(declared, bias=["VG1"], set_point_c=["25"])
    assert found.columns["condition"].tolist() == [None]
    (one,) = told(found)
    assert one.startswith('condition [0]: bias "VG1", set_point_c "25", which is said of "A" or')
    assert "exclude each other" in one


def test_a_rule_that_contradicts_what_is_said() -> None:
    found = said(RULES, bias=["VG0", "VG0"], condition=["OFF", "ON25"])
    (one,) = told(found)
    assert one.startswith('condition [1]: "ON25"; the condition that')


def test_many_names_without_a_rule_are_told_together() -> None:
    found = said(RULES, bias=[f"V{n}" for n in range(50)])
    assert len(found.refusals) == 9
    assert sum(int(one.bad.sum()) for one in found.refusals) == 50


def test_a_day_and_its_clock() -> None:
    declared = plain(time_format="%Y%m%d %H%M", time_zone="+01:00")
    found = said(declared, date=["20261026", "20261026"], clock=["1500", None])
    assert lists(found) == {"measured_at": [1_793_023_200_000_000, 0]}
    assert told(found) == ["measured_at [1]: an empty entry; a time; Fill it, or leave it out."]
    assert said(declared, date=["20261026"]).columns == {}


def test_times_of_a_column_and_of_constants() -> None:
    stamp = "2026-10-26T15:00:00+01:00"
    at_us = [1_793_023_200_000_000]
    assert lists(said(plain(), time=[stamp])) == {"measured_at": at_us}
    assert lists(said(plain(), measured_at=[stamp])) == {"measured_at": at_us}
    found = said(plain(constants={"time": stamp}), wafer=["W"])
    assert lists(found) == {"wafer": ["W"], "measured_at": at_us}
    found = said(plain(constants={"date": "2026-10-26"}, time_zone="UTC"), clock=["14:00:00"])
    assert lists(found) == {"measured_at": at_us}


def test_refused_times_name_their_field() -> None:
    (one,) = told(said(plain(), time=["2026-10-26 14:00:00"]))
    assert one.startswith('time [0]: "2026-10-26 14:00:00", a time without a zone')
    (one,) = told(said(plain(), date=["2026-10-26"], clock=["14:00:00"]))
    assert one.startswith('measured_at [0]: "2026-10-26 14:00:00", a time without a zone')


@pytest.mark.parametrize(
    "declared", [{"time_zone": "Europe/Berlim"}, {"time_format": "%Q", "time_zone": "UTC"}]
)
def test_times_that_cannot_be_read_at_all(declared: Mapping[str, str]) -> None:
    found = said(plain(**declared), time=["2026-10-26 14:00", "2026-10-26 15:00"])
    (one,) = told(found)
    assert one.startswith("time [0, 1]: ") and "time_zone or time_format" in one


def test_times_of_modification() -> None:
    declared = plain(time_from="modification")
    moments = [datetime(2026, 10, 26, 14, tzinfo=UTC), None, datetime(1980, 1, 1, tzinfo=UTC)]
    found = said(declared, moments, wafer=["W"] * 4)
    assert found.columns["measured_at"].tolist() == [1_793_023_200_000_000, 0, 0, 0]
    assert [one.partition(";")[0] for one in told(found)] == [
        "measured_at [1, 3]: no time of modification",
        "measured_at [2]: a file last written in 1980",
    ]


@given(
    st.lists(
        st.tuples(st.integers(-99, 99), st.floats(-300, 300), st.sampled_from("ABC")), max_size=20
    )
)
def test_what_is_written_comes_back(rows: list[tuple[int, float, str]]) -> None:
    declared = plain(minus="m", point="p", rename={"device": {"A": "NMOS", "B": "PMOS"}})
    found = said(
        declared,
        die_x=[str(x).replace("-", "m") for x, _, _ in rows],
        temperature_c=[f"{t:.4f}".replace("-", "m").replace(".", "p") for _, t, _ in rows],
        device=[d for _, _, d in rows],
    )
    assert found.refusals == ()
    assert found.columns["die_x"].tolist() == [x for x, _, _ in rows]
    assert found.columns["temperature_c"].tolist() == [float(f"{t:.4f}") for _, t, _ in rows]
    names = {"A": "NMOS", "B": "PMOS", "C": "C"}
    assert found.columns["device"].tolist() == [names[d] for _, _, d in rows]


def test_many_rows_are_read_at_once() -> None:
    n = 200_000
    texts = {
        "die_x": np.array([str(k % 40) for k in range(n)], dtype=object),
        "die_y": np.array([str(k % 37) for k in range(n)], dtype=object),
        "bias": np.array([f"VG{k % 2}" for k in range(n)], dtype=object),
        "set_point_c": np.array(["25"] * n, dtype=object),
    }
    found = resolve(RULES, texts, n)
    assert found.refusals == ()


@pytest.mark.parametrize(
    "declared",
    [
        source(),
        source(VALUES),
        source(WIDE),
        source(
            WIDE,
            constants={},
            columns=(
                *VALUES["columns"][:2],
                {"theirs": "VTH", "parameter": "VTH", "unit": "V", "condition": "ON"},
            ),
        ),
        source(
            files="{device}_{die}_{condition}.s2p",
            conditions=(),
            lines=("! Wafer: {wafer}", "! Date: {date} {clock}"),
            dies={"A1": (0, 0)},
            ports=(2, 1),
        ),
        source(
            files="{wafer}_{device}_X{die_x}_Y{die_y}_{bias}_{time}_P{port}.s1p",
            one_port_pairs="no transmission",
        ),
        Source(
            id="cal",
            files="CAL/{calibration}/*.s2p",
            holds="calibration sweeps",
        ),
        source(
            VALUES,
            holds="curves",
            constants={"condition": "ON", "curve": "IDVG"},
            columns=(
                *VALUES["columns"][:3],
                {"theirs": "VG", "ours": "vgs_v"},
                {"theirs": "ID", "ours": "id_a"},
                {"theirs": "ID2", "ours": "id_a_again"},
                {"theirs": "comp", "ours": "in_compliance"},
            ),
        ),
        source(
            VALUES,
            holds="touchdowns",
            constants={},
            columns=(
                *VALUES["columns"][:2],
                {"theirs": "R", "ours": "contact_resistance_ohm"},
            ),
        ),
        source(
            VALUES,
            time_from="files",
            columns=(*VALUES["columns"], {"theirs": "t", "ours": "measured_at"}),
        ),
        source(
            VALUES,
            columns=(*VALUES["columns"], {"theirs": "Vd", "ours": "bias_vds_v"}),
            leave=("*",),
        ),
    ],
)
def test_a_right_source_has_no_troubles(declared: Source) -> None:
    assert declaration_troubles(declared) == []


NO_COLUMNS: tuple[Any, ...] = ()


@pytest.mark.parametrize(
    ("declared", "place", "words"),
    [
        (source(constants={"waver": "W1"}), "constants.waver", 'Write "wafer" if that is meant.'),
        (source(rename={"devise": {"a": "b"}}), "rename.devise", "the unknown field"),
        (
            source(conditions=({"condition": "A", "when": {"bais": "VG1"}},)),
            "conditions[1].when.bais",
            'Write "bias"',
        ),
        (
            source(conditions=({"condition": "A", "when": {"set_point_c": 25}},)),
            "conditions[1].when.set_point_c",
            "which nothing says",
        ),
        (
            source(conditions=({"condition": "A", "when": {"time": "now"}},)),
            "conditions[1].when.time",
            "by which conditions differ",
        ),
        (source(files="{waver}.s2p"), "files", "which is near {wafer}"),
        (source(files="{wafer}{device}.s2p"), "files", "where the first ends"),
        (source(lines=("! {operator}",)), "lines[1]", "which is no field"),
        (source(lines=("! fixed",)), "lines[1]", "no field in"),
        (source(minus="1"), "minus", '"1" as minus'),
        (source(point="0"), "point", '"0" as point'),
        (source(time_zone="Berlin/Europe"), "time_zone", "which is no zone"),
        (source(time_zone="Europe/Berlim"), "time_zone", 'Write "Europe/Berlin"'),
        (source(time_format="%Y%m%d-%H%M%Q"), "time_format", 'the directive "%Q"'),
        (source(time_format="%Y%m%d"), "time_format", "no hour and minute"),
        (source(time_zone=None), "time_format", "without a zone"),
        (source(sweep=None), "sweep", "raw or corrected"),
        (source(VALUES, sweep="raw"), "sweep", "of sweeps only"),
        (source(columns=VALUES["columns"][4:]), "columns[1].ours", "a table of sweeps"),
        (
            source(ports=(2, 1), columns=({"theirs": "f", "ours": "frequency_hz"},)),
            "ports",
            "both this and 'columns'",
        ),
        (source(leave=("x",)), "leave", "of tables only"),
        (source(rows="one a die"), "rows", "tables of values only"),
        (source(VALUES, columns=NO_COLUMNS), "columns", "what the columns of the tables mean"),
        (source(VALUES, leave=("X",)), "leave[1]", "which 'columns' maps"),
        (source(constants={"wafer": "W1"}), "constants.wafer", '"wafer" in files and constants'),
        (source(lines=("! {wafer}",)), "lines[1]", '"wafer" in files and lines[1]'),
        (source(constants={"condition": "A"}), "conditions", '"condition" in constants'),
        (
            source(VALUES, columns=(*VALUES["columns"], {"theirs": "w", "ours": "wafer"})),
            "columns[6]",
            '"wafer" in files and columns[6]',
        ),
        (
            source(VALUES, columns=(*VALUES["columns"], {"theirs": "X2", "ours": "die_x"})),
            "columns[6]",
            '"die_x" in columns[1] and columns[6]',
        ),
        (source(constants={"die": "A1"}, dies={"A1": (0, 0)}), "files", "the die said in one way"),
        (source(constants={"date": "2026-10-26"}), "constants.date", "the time said in one way"),
        (source(ports=(3,)), "ports", "[1, 2], [2, 1] or [1]"),
        (source(ports=(1, 1)), "ports", "found [1, 1]"),
        (source(VALUES, ports=(2, 1)), "ports", "of sweeps of devices only"),
        *(
            (
                source(EVENTS, files=f"{{{event}}}/*.s2p", holds=f"{event} sweeps"),
                "ports",
                f"holds {event} sweeps; it is of sweeps of devices only. Leave it out.",
            )
            for event in ("calibration", "verification")
        ),
        *(
            (source(VALUES, folder=folder), "folder", words)
            for folder, words in (
                ("../tables", '"." or ".." in "../tables"'),
                ("./tables", '"." or ".."'),
                ("tables/../wafers", '"." or ".."'),
                ("..", '"." or ".."'),
                ("tables/", 'a part without a name in "tables/"'),
                ("a//b", "a part without a name"),
                ("wafers", '"wafers", where records of the campaign lie'),
                ("Wafers/W1", "where records of the campaign lie"),
                ("calibrations", "where records"),
                ("verifications/x", "where records"),
                ("acceptances", "where records"),
                ("notes", "where records"),
                (".schemas", "where records"),
            )
        ),
        (
            source(SWEEPS, holds="calibration sweeps", folder="calibrations"),
            "folder",
            "Leave it out: gathering brings them",
        ),
        (
            source(
                VALUES,
                columns=(
                    *VALUES["columns"][:4],
                    {"theirs": "V", "ours": "value", "unit": "mV"},
                    {"theirs": "U", "ours": "unit"},
                ),
            ),
            "columns[5].unit",
            '"mV", while the column "U" says the unit too',
        ),
        (source(one_port_pairs="no transmission"), "one_port_pairs", "nothing that says 'port'"),
        (source(VALUES, one_port_pairs="no transmission"), "one_port_pairs", "of sweeps only"),
        (
            source(files="{wafer}_{device}_X{die_x}_Y{die_y}_{bias}_{time}_P{port}.s1p"),
            "files",
            "one_port_pairs is not stated",
        ),
        (source(files="{device}_{bias}_X{die_x}_Y{die_y}_{time}.s2p"), "", 'says "wafer"'),
        (source(files="{wafer}_{bias}_X{die_x}_Y{die_y}_{time}.s2p"), "", 'says "device"'),
        (source(files="{wafer}_{device}_{bias}_X{die_x}_{time}.s2p"), "", "die_x and die_y"),
        (source(files="{wafer}_{device}_{bias}_X{die_x}_Y{die_y}.s2p"), "", 'says "time"'),
        (source(conditions=()), "", "or by rules in conditions"),
        (
            source(files="{wafer}_{device}_{bias}_{die}_{time}.s2p"),
            "dies",
            "labels of dies without a table",
        ),
        (
            source(files="{wafer}_{device}_{bias}_X{die_x}_Y{die_y}_{date}.s2p"),
            "files",
            '"date" without "clock"',
        ),
        (source(VALUES, columns=VALUES["columns"][:3]), "", 'says "parameter"'),
        (source(VALUES, columns=VALUES["columns"][:4]), "columns", "no column of values"),
        (source(VALUES, constants={}), "", 'says "condition"'),
        (source(WIDE, constants={}), "columns", 'says "condition"'),
        (source(WIDE, columns=VALUES["columns"][:2]), "columns", "no column of a parameter"),
        (
            source(WIDE, columns=(*WIDE["columns"], VALUES["columns"][4])),
            "columns[5].ours",
            "in a table with one row a die",
        ),
        (
            source(WIDE, columns=(*WIDE["columns"], WIDE["columns"][2])),
            "columns[5]",
            'the parameter "VTH" again, as in columns[3]',
        ),
        (source(WIDE, rows="one a value"), "columns[3]", "State rows = 'one a die'"),
        (source(WIDE, holds="touchdowns"), "rows", "of tables of values only"),
        (
            source(WIDE, columns=(*WIDE["columns"][:3], {**WIDE["columns"][3], "condition": "B"})),
            "columns[4].condition",
            "while constants.condition says it too",
        ),
        (source(time_from="modification"), "time_from", 'while files says "time"'),
        (source(VALUES, folder="tables"), "time_from", "gathered files"),
        (
            source(VALUES, columns=(*VALUES["columns"], {"theirs": "a", "ours": "vaule"})),
            "columns[6].ours",
            'Write "value" if that is meant.',
        ),
        (
            source(
                VALUES,
                holds="touchdowns",
                constants={},
                columns=(*VALUES["columns"][:2], {"theirs": "a", "ours": "overtravel"}),
            ),
            "columns[3].ours",
            'Write "overtravel_um" if that is meant.',
        ),
        (source(VALUES, constants={"condition": 1}), "constants.condition", "found 1"),
        (source(VALUES, constants={"condition": " "}), "constants.condition", "a text"),
        (
            source(VALUES, constants={"condition": "A", "touchdown": 1.5}),
            "constants.touchdown",
            "a whole number",
        ),
        (
            source(VALUES, constants={"condition": "A", "temperature_c": "25"}),
            "constants.temperature_c",
            "a number",
        ),
        (
            Source(id="cal", files="CAL/*.s2p", holds="calibration sweeps"),
            "files",
            "no {calibration} in",
        ),
        (
            Source(id="ver", files="{calibration}/*.s2p", holds="verification sweeps"),
            "files",
            "no {verification} in",
        ),
    ],
)
def test_each_trouble_of_a_source(declared: Source, place: str, words: str) -> None:
    troubles = declaration_troubles(declared)
    for _, found, expected, remedy in troubles:
        assert found and expected and remedy.endswith(".") and remedy[0].isupper()
    sentences = [f"{one[0]}: found {one[1]}, expected {one[2]}. {one[3]}" for one in troubles]
    assert any(one.startswith(f"{place}: ") and words in one for one in sentences), sentences


def test_all_troubles_come_at_once() -> None:
    declared = source(sweep=None, ports=(4,), time_zone="X", constants={"waver": "W"})
    assert len(declaration_troubles(declared)) == 4


@given(st.text(max_size=12), st.text(max_size=12), st.sampled_from(sorted(FIELDS)))
def test_no_source_makes_the_check_fail(pattern: str, other: str, field: str) -> None:
    declared = source(
        files=pattern or "x",
        lines=(other or "y",),
        constants={field: other, other: pattern},
        minus=other or None,
        time_zone=other or None,
        time_format=pattern or None,
    )
    assert isinstance(declaration_troubles(declared), list)
