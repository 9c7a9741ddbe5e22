"""The command `sitegen`: arguments in, exit status out, progress and problems shown."""

import sys
import traceback
from collections.abc import Sequence
from pathlib import Path

import click
from rich.console import Console
from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    Progress,
    SpinnerColumn,
    TaskID,
    TextColumn,
)

from sitegen import __version__
from sitegen.problems import Fault, Finding, NotACampaign, SitegenError
from sitegen.units import count

WHOLE, INCOMPLETE, NOTHING, FINDINGS = 0, 1, 2, 3


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="sitegen")
def main() -> None:
    """Turn a campaign of on-wafer measurements into a linked, static record of evidence."""


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
def check(folder: Path) -> None:
    """Read FOLDER and report every fault of the input, without writing pages.

    Exit status: 0 no fault, 1 some, 2 not readable as a campaign.
    """
    from sitegen import build as stages

    try:
        with _Display() as display:
            report = stages.check(folder, display.show)
    except NotACampaign as problem:
        _show_faults(problem.faults)
        sys.exit(NOTHING)
    except Exception as problem:
        click.echo(_own_mistake(problem), err=True)
        sys.exit(NOTHING)
    _show_faults(report.faults)
    click.echo(f"{report.campaign.campaign.id}: {count(len(report.faults), 'fault')} of the input.")
    sys.exit(INCOMPLETE if report.faults else WHOLE)


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path), help="The publication.")
@click.option("--workers", type=click.IntRange(1), help="Processes (default: as many as cores).")
@click.option(
    "--findings-fail", is_flag=True, help="Exit with status 3 where a finding needs a decision."
)
def build(folder: Path, out: Path, workers: int | None, findings_fail: bool) -> None:
    """Publish the campaign in FOLDER.

    Exit status: 0 whole; 1 published, but a fault of the input kept something from being read,
    computed or shown; 2 nothing published; 3 with --findings-fail only: published without a
    fault, and a finding needs a decision.
    """
    from sitegen import build as stages

    try:
        with _Display() as display:
            report = stages.build(folder, out, display.show, workers)
    except NotACampaign as problem:
        _show_faults(problem.faults)
        click.echo("Nothing was published.", err=True)
        sys.exit(NOTHING)
    except SitegenError as problem:
        click.echo(f"{problem}\nNothing was published.", err=True)
        sys.exit(NOTHING)
    except Exception as problem:
        click.echo(f"{_own_mistake(problem)}\nNothing was published.", err=True)
        sys.exit(NOTHING)
    _show_findings(report.findings)
    _show_faults(report.faults)
    click.echo(report.first)
    click.echo(f"{count(report.pages, 'page')}; start at {report.index}")
    if report.faults:
        sys.exit(INCOMPLETE)
    needs_decision = any(finding.weight == "decision" for finding in report.findings)
    sys.exit(FINDINGS if findings_fail and needs_decision else WHOLE)


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--wafers", default=1, show_default=True, type=click.IntRange(0, 500))
@click.option("--dies", default=60, show_default=True, type=click.IntRange(1, 2000))
@click.option("--seed", default=1, show_default=True, type=click.IntRange(0))
def simulate(folder: Path, wafers: int, dies: int, seed: int) -> None:
    """Write a simulated campaign into FOLDER, and its truth into FOLDER-truth beside it."""
    from sitegen.publish.campaign_folder import write_campaign
    from sitegen.simulate import simulate_campaign

    try:
        write_campaign(simulate_campaign(wafers=wafers, dies=dies, seed=seed), folder)
    except SitegenError as problem:
        click.echo(f"{problem}\nNothing was written.", err=True)
        sys.exit(NOTHING)
    except OSError as problem:
        told = f"{folder}: cannot be written ({problem.strerror}). Choose another folder."
        click.echo(told, err=True)
        sys.exit(NOTHING)
    click.echo(
        f"{count(wafers, 'wafer')} of {count(dies, 'die')} each; start with"
        f" 'sitegen build {folder} --out PUBLICATION'."
    )


@main.command()
def reference() -> None:
    """Print every field of every record, as Markdown."""
    from sitegen.render import reference_markdown

    click.echo(reference_markdown(), nl=False)


def _own_mistake(problem: Exception) -> str:
    """One sentence for what no input should bring about, with the place in the program."""
    frames = traceback.extract_tb(problem.__traceback__)
    place = f"{Path(frames[-1].filename).name}, line {frames[-1].lineno}" if frames else "sitegen"
    return (
        f"This is a mistake of the program, not of the campaign ({place}:"
        f" {type(problem).__name__}: {problem}). Please report it with the record that brought it"
        " about."
    )


def _show_findings(findings: Sequence[Finding]) -> None:
    titles = {"decision": "Needs a decision", "attention": "Needs attention", "note": "To know"}
    for weight, title in titles.items():
        mine = [finding for finding in findings if finding.weight == weight]
        if mine:
            click.echo(f"{title}:")
        for finding in mine:
            click.echo(f"  {finding.text}")


def _show_faults(faults: Sequence[Fault]) -> None:
    if faults:
        click.echo("Faults of the input:", err=True)
    for fault in faults:
        click.echo(f"  {fault.sentence()}", err=True)


class _Display:
    """Progress: bars on a terminal, one plain line a stage elsewhere."""

    def __init__(self) -> None:
        console = Console(stderr=True)
        self._bars = (
            Progress(
                SpinnerColumn(),
                TextColumn("{task.description}"),
                BarColumn(),
                MofNCompleteColumn(),
                console=console,
                transient=True,
            )
            if console.is_terminal
            else None
        )
        self._tasks: dict[str, TaskID | None] = {}

    def __enter__(self) -> "_Display":
        if self._bars is not None:
            self._bars.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._bars is not None:
            self._bars.stop()

    def show(self, stage: str, done: int, total: int) -> None:
        """Show how far a stage is."""
        if self._bars is None:
            if stage not in self._tasks:
                self._tasks[stage] = None
                click.echo(f"{stage}" + (f" ({total})" if total > 1 else ""), err=True)
            return
        task = self._tasks.get(stage)
        if task is None:
            task = self._tasks[stage] = self._bars.add_task(stage, total=total)
        self._bars.update(task, completed=done, total=total)
