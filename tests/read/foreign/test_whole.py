"""A campaign of foreign files is read as the tables that they were written from."""

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from sitegen.model.loaded import Campaign, WaferTables
from sitegen.problems import Fault
from sitegen.read import read_campaign, read_wafer_tables
from tests.device_campaign import device_campaign
from tests.foreign_campaign import alike, foreign_campaign

Read = tuple[Campaign, WaferTables, tuple[Fault, ...]]


def read(folder: Path) -> Read:
    campaign, faults = read_campaign(folder)
    known = frozenset(one.record.id for one in campaign.calibrations)
    tables, more = read_wafer_tables(folder, campaign.wafers[0], campaign.record, known)
    return campaign, tables, (*faults, *more)


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Read:
    return read(device_campaign(tmp_path_factory.mktemp("own")))


@pytest.fixture(scope="module")
def foreign(tmp_path_factory: pytest.TempPathFactory) -> Read:
    return read(foreign_campaign(tmp_path_factory.mktemp("foreign")))


def same_rows(one: pa.Table, other: pa.Table, left_out: set[str]) -> None:
    names = [name for name in one.column_names if name not in left_out]
    assert one.num_rows == other.num_rows
    for name in names:
        pairs = zip(one.column(name).to_pylist(), other.column(name).to_pylist(), strict=True)
        for a, b in pairs:
            assert alike(a, b), (name, a, b)


def test_nothing_is_wrong_with_it(foreign: Read) -> None:
    assert [fault.sentence() for fault in foreign[2]] == []


def test_values_of_a_wide_table(own: Read, foreign: Read) -> None:
    # in a wide table all values of a die share range and path, and none names a calibration
    left_out = {"file", "calibration", "range", "path"}
    same_rows(own[1].values, foreign[1].values, left_out)


def test_sweeps_of_a_touchstone_tree(own: Read, foreign: Read) -> None:
    for one, other in zip(own[1].sweeps, foreign[1].sweeps, strict=True):
        same_rows(one.keys, other.keys, {"file"})
        np.testing.assert_array_equal(one.s, other.s)
        np.testing.assert_allclose(one.frequency_hz, other.frequency_hz, rtol=1e-15)


def test_curves_of_one_file_a_die_and_of_partitions(own: Read, foreign: Read) -> None:
    for one, other in zip(own[1].curves, foreign[1].curves, strict=True):
        # a file states its start, a table of ours each row's time: the second curve of a file
        # begins seconds later in the one and at the same time in the other
        same_rows(one.keys, other.keys, {"file", "measured_at"})
        np.testing.assert_allclose(one.measured, other.measured, rtol=1e-12)
        np.testing.assert_allclose(one.swept, other.swept, rtol=1e-12)
        assert (one.range == other.range).all()


def test_touchdowns_of_a_table_with_all_wafers(own: Read, foreign: Read) -> None:
    same_rows(own[1].touchdowns, foreign[1].touchdowns, {"file"})


def test_each_file_is_a_source_with_its_digest(foreign: Read) -> None:
    wafer = foreign[0].wafers[0]
    paths = [source.path for source in wafer.sources]
    assert len(paths) == len(set(paths))
    assert sum(path.startswith("gathered/rf/W1/") for path in paths) == 9
    assert sum(path.startswith("chains/") for path in paths) == 2
