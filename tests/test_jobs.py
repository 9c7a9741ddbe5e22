"""Jobs: keys that change with what results depend on, and any executor."""

import re
import shutil
from collections.abc import Callable
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import nullcontext
from pathlib import Path

import pytest

from sitegen import build as stages
from sitegen import jobs, wafer_listing
from sitegen.compute.events import solve_events
from sitegen.model.results import AxisRange
from sitegen.publish.campaign_folder import write_campaign
from sitegen.read import read_campaign
from sitegen.simulate import simulate_campaign
from tests.conftest import quiet

WAFERS = 2


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("jobs") / "two"
    return write_campaign(simulate_campaign(wafers=WAFERS, dies=6, seed=5), folder)


def keys(folder: Path) -> dict[str, str]:
    campaign, _ = read_campaign(folder)
    found = wafer_listing.compute_jobs(campaign, solve_events(campaign), folder)
    return {job.name: job.key for job in found}


@pytest.fixture(scope="module")
def before(two: Path) -> dict[str, str]:
    """Keys of the campaign as it was written."""
    return keys(two)


@pytest.fixture
def copy(two: Path, tmp_path: Path) -> Path:
    return shutil.copytree(two, tmp_path / "copy")


def test_the_same_input_has_the_same_keys_and_each_wafer_its_own(
    before: dict[str, str], copy: Path
) -> None:
    assert keys(copy) == before
    assert len(set(before.values())) == WAFERS


def comment(content: bytes) -> bytes:
    return content + b"\n# a comment\n"


def last_digit(content: bytes) -> bytes:
    at = max(content.rfind(digit) for digit in (b"1", b"2", b"3"))
    return content[:at] + b"4" + content[at + 1 :]


def title(content: bytes) -> bytes:
    return content.replace(b'title = "', b'title = "Another ', 1)


def limit(content: bytes) -> bytes:
    changed, number = re.subn(rb"(?m)^upper = .*$", b"upper = 1e9", content, count=1)
    assert number == 1
    return changed


@pytest.mark.parametrize(
    ("path", "change", "touched"),
    [
        ("campaign.toml", comment, 0),  # what is parsed is the same
        ("campaign.toml", title, 0),  # no value depends on the title
        ("campaign.toml", limit, WAFERS),
        ("wafers/*/wafer.toml", comment, 1),
        ("calibrations/*/*.s2p", last_digit, WAFERS),
        ("verifications/*/*.s2p", last_digit, WAFERS),
    ],
)
def test_a_change_touches_just_the_jobs_that_depend_on_it(
    before: dict[str, str],
    copy: Path,
    path: str,
    change: Callable[[bytes], bytes],
    touched: int,
) -> None:
    place = next(copy.glob(path))
    place.write_bytes(change(place.read_bytes()))
    after = keys(copy)
    assert after.keys() == before.keys()
    assert sum(after[name] != before[name] for name in before) == touched


def square(number: int) -> int:
    return number * number


def numbered(count: int) -> list[jobs.Job[int, int]]:
    return [
        jobs.Job("square", str(n), jobs.key_of("square", {"n": n}), square, n) for n in range(count)
    ]


@pytest.mark.parametrize("executor", [None, ThreadPoolExecutor(2)])
def test_results_come_in_the_order_of_the_jobs(executor: Executor | None) -> None:
    done: list[str] = []
    with executor or nullcontext():
        results = jobs.run(numbered(20), executor, lambda job: done.append(job.name))
    assert results == tuple(n * n for n in range(20))
    assert sorted(done, key=int) == [str(n) for n in range(20)]


def refuse(number: int) -> int:
    raise ValueError(f"{number} is refused")


def test_a_job_that_fails_is_not_hidden() -> None:
    with pytest.raises(ValueError, match="3 is refused"):
        jobs.run([jobs.Job("refuse", "x", "key", refuse, 3)], None, lambda _: None)


def test_small_results_have_digests_of_their_content() -> None:
    one, same, other = AxisRange(0, 1, 0.5), AxisRange(0, 1, 0.5), AxisRange(0, 2, 0.5)
    assert jobs.digest_of(one) == jobs.digest_of(same) != jobs.digest_of(other)


@pytest.mark.long
def test_two_processes_publish_what_one_publishes(two: Path, tmp_path: Path) -> None:
    """The first build draws in this process; the spawned ones of the second must not mind."""
    stages.build(two, tmp_path / "one", quiet, workers=1)
    stages.build(two, tmp_path / "both", quiet, workers=2)
    first = {p.relative_to(tmp_path / "one"): p for p in (tmp_path / "one").rglob("*.*")}
    second = {p.relative_to(tmp_path / "both"): p for p in (tmp_path / "both").rglob("*.*")}
    assert set(first) == set(second)
    assert [
        str(name)
        for name, path in first.items()
        if path.is_file() and path.read_bytes() != second[name].read_bytes()
    ] == []
