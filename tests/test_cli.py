"""The command as its user meets it: exit status, what is said, what is left on disk."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from sitegen.cli import main
from tests.campaigns_broken.cases import CASES, Case
from tests.campaigns_broken.laboratory_cases import LABORATORY_CASES
from tests.campaigns_broken.verification_cases import VERIFICATION_CASES


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(one) for one in arguments], catch_exceptions=False)


def test_a_whole_campaign_is_published_with_status_0(tiny: Path, tmp_path: Path) -> None:
    done = run("build", tiny, "--out", tmp_path / "out")
    assert done.exit_code == 0, done.output
    assert f"start at {tmp_path / 'out' / 'index.html'}" in done.output
    assert (tmp_path / "out" / "index.html").is_file()
    assert not list(tmp_path.glob(".out*"))


def test_check_writes_nothing(tiny: Path, tmp_path: Path) -> None:
    before = sorted(tmp_path.rglob("*"))
    done = run("check", tiny)
    assert done.exit_code == 0, done.output
    assert "no faults" in done.output
    assert sorted(tmp_path.rglob("*")) == before


def test_a_fault_is_told_the_rest_is_published_and_the_page_says_so(
    tiny: Path, tmp_path: Path
) -> None:
    (tiny / "calibrations" / "CAL1" / "short.s2p").unlink()
    assert run("check", tiny).exit_code == 1
    done = run("build", tiny, "--out", tmp_path / "out")
    assert done.exit_code == 1
    assert "short.s2p" in done.output
    assert "short.s2p" in (tmp_path / "out" / "problems" / "index.html").read_text("utf-8")
    page = (tmp_path / "out" / "calibrations" / "CAL1" / "index.html").read_text("utf-8")
    assert "could not be solved" in page


@pytest.mark.parametrize(
    "case", CASES + VERIFICATION_CASES + LABORATORY_CASES[::5], ids=lambda case: case.name
)
def test_every_broken_campaign_ends_as_its_case_says(
    case: Case, tiny: Path, tmp_path: Path
) -> None:
    case.broken_by(tiny)
    done = run("build", tiny, "--out", tmp_path / "out", "--workers", 1)
    assert done.exit_code == (2 if case.left is None else 1), done.output
    assert "Traceback" not in done.output
    assert case.file.rsplit("/", 1)[-1] in done.output
    published = (tmp_path / "out" / "index.html").is_file()
    assert published == (case.left is not None)
    if published:
        text = (tmp_path / "out" / "problems" / "index.html").read_text("utf-8")
        assert case.file in text


def no_folder(tiny: Path) -> Path:
    return tiny / "nowhere"


def a_file(tiny: Path) -> Path:
    return tiny / "campaign.toml"


def an_empty_folder(tiny: Path) -> Path:
    (tiny / "empty").mkdir()
    return tiny / "empty"


@pytest.mark.parametrize("place", [no_folder, a_file, an_empty_folder])
@pytest.mark.parametrize("command", ["check", "build"])
def test_what_is_no_campaign_ends_with_status_2(
    command: str, place: Callable[[Path], Path], tiny: Path, tmp_path: Path
) -> None:
    out = ["--out", tmp_path / "out"] if command == "build" else []
    done = run(command, place(tiny), *out)
    assert done.exit_code == 2, done.output
    assert done.output.strip() and "Traceback" not in done.output
    assert not (tmp_path / "out").exists()


def test_the_old_publication_stands_when_nothing_is_published(tiny: Path, tmp_path: Path) -> None:
    assert run("build", tiny, "--out", tmp_path / "out").exit_code == 0
    before = (tmp_path / "out" / "index.html").read_bytes()
    (tiny / "campaign.toml").write_text("campaign = [")
    assert run("build", tiny, "--out", tmp_path / "out").exit_code == 2
    assert (tmp_path / "out" / "index.html").read_bytes() == before


def test_findings_change_the_status_only_when_asked(tiny: Path, tmp_path: Path) -> None:
    shutil.rmtree(tiny / "verifications")
    text = (tiny / "campaign.toml").read_text("utf-8")
    (tiny / "campaign.toml").write_text(text.replace("due = 2027-01-31", "due = 2026-01-31"))
    assert run("build", tiny, "--out", tmp_path / "out").exit_code == 0
    done = run("build", tiny, "--out", tmp_path / "out", "--findings-fail")
    assert done.exit_code == 3
    assert "instrument past due" in done.output


def test_a_mistake_of_the_program_is_told_as_one_and_the_old_publication_stands(
    tiny: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert run("build", tiny, "--out", tmp_path / "out").exit_code == 0
    before = (tmp_path / "out" / "index.html").read_bytes()

    def broken(*_: object) -> None:
        raise ZeroDivisionError("planted")

    monkeypatch.setattr("sitegen.build.join", broken)
    done = run("build", tiny, "--out", tmp_path / "out")
    assert done.exit_code == 2
    assert "mistake of the program" in done.output and "Traceback" not in done.output
    assert (tmp_path / "out" / "index.html").read_bytes() == before
    assert not list(tmp_path.glob(".out*"))


@pytest.mark.parametrize(
    ("command", "part"),
    [
        (("check", "FOLDER"), "sitegen.checking.check"),
        (("gather", "FOLDER", "TREE"), "sitegen.gathering.gather"),
        (("simulate", "FOLDER"), "sitegen.simulate.simulate_campaign"),
        (("new", "FOLDER"), "sitegen.new_records.start"),
        (("schema",), "sitegen.schemas_of_records.every_schema"),
        (("reference",), "sitegen.render.reference_markdown"),
    ],
)
def test_no_command_ends_in_a_traceback(
    command: tuple[str, ...], part: str, tiny: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("planted")

    monkeypatch.setattr(part, broken)
    done = run(*(tiny if word in ("FOLDER", "TREE") else word for word in command))
    assert done.exit_code == 2 and isinstance(done.exception, SystemExit)
    assert "mistake of the program" in done.output and "planted" in done.output


def test_a_simulated_campaign_builds_as_it_is(tmp_path: Path) -> None:
    done = run("simulate", tmp_path / "made", "--wafers", 1, "--dies", 12, "--seed", 7)
    assert done.exit_code == 0, done.output
    assert (tmp_path / "made-truth" / "truth.parquet").is_file()
    built = run("build", tmp_path / "made", "--out", tmp_path / "out", "--workers", 1)
    assert built.exit_code == 0, built.output


def test_simulate_does_not_write_over_anything(tiny: Path) -> None:
    before = (tiny / "campaign.toml").read_bytes()
    done = run("simulate", tiny)
    assert done.exit_code == 2
    assert "Nothing was written" in done.output
    assert (tiny / "campaign.toml").read_bytes() == before


def test_simulate_says_where_it_cannot_write(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("a file")
    done = run("simulate", tmp_path / "file" / "made")
    assert done.exit_code == 2
    assert "cannot be written" in done.output and "Traceback" not in done.output


def test_the_reference_is_the_committed_one() -> None:
    path = Path(__file__).parent.parent / "campaigns_demo" / "RECORDS.md"
    assert run("reference").output == path.read_text("utf-8"), (
        "write it again: sitegen reference > campaigns_demo/RECORDS.md"
    )
