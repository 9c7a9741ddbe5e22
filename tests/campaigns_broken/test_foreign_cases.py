"""Each broken campaign of foreign files gives its one sentence; what is healthy is still read."""

import shutil
from pathlib import Path

import pytest

from tests.campaigns_broken.cases import Case
from tests.campaigns_broken.foreign_cases import FOREIGN_CASES, WHOLE_FOREIGN
from tests.campaigns_broken.test_cases import assert_told, read_all
from tests.foreign_campaign import foreign_campaign


@pytest.fixture(scope="module")
def foreign(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The campaign of foreign files, written once."""
    return foreign_campaign(tmp_path_factory.mktemp("foreign"))


def test_the_campaign_of_foreign_files_has_no_fault(foreign: Path) -> None:
    campaign, left, faults = read_all(foreign)
    assert faults == []
    assert campaign is not None and left == WHOLE_FOREIGN


@pytest.mark.parametrize("case", FOREIGN_CASES, ids=lambda case: case.name)
def test_one_fault_of_foreign_files_one_sentence(case: Case, foreign: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(foreign, tmp_path / "tiny")
    case.broken_by(folder)
    _, left, faults = read_all(folder)
    assert len(faults) == 1, [fault.sentence() for fault in faults]
    assert_told(case, faults[0])
    assert left == case.left
