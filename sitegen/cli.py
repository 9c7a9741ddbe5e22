"""The command `sitegen`: arguments in, exit status out, progress and problems shown."""

import sys
import traceback
from collections.abc import Sequence
from pathlib import Path
from typing import NoReturn

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
from sitegen.problems import Fault, Finding, NotACampaign, SitegenError, grouped
from sitegen.units import count

WHOLE, INCOMPLETE, NOTHING, FINDINGS = 0, 1, 2, 3


class _Commands(click.Group):
    """Commands that end with a sentence, whatever happens in them."""

    def invoke(self, ctx: click.Context) -> object:
        try:
            return super().invoke(ctx)
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except Exception as problem:
            _stop(_own_mistake(problem))


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="sitegen")
def main() -> None:
    """Turn a campaign of on-wafer measurements into a linked, static record of evidence."""


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--all", "every", is_flag=True, help="Show every fault, not three of each group.")
def check(folder: Path, every: bool) -> None:
    """Read FOLDER and report every fault of the input, without writing pages.

    Exit status: 0 no fault, 1 some, 2 not readable as a campaign.
    """
    from sitegen.checking import check as checked

    try:
        with _Display() as display:
            report = checked(folder, display.show)
    except NotACampaign as problem:
        _show_faults(problem.faults, every, "--all shows them")
        sys.exit(NOTHING)
    _show_faults(report.faults, every, "--all shows them")
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
        _show_faults(problem.faults, False, "'sitegen check --all' shows them")
        _stop("Nothing was published.")
    except SitegenError as problem:
        _stop(f"{problem}\nNothing was published.")
    except Exception as problem:
        _stop(f"{_own_mistake(problem)}\nNothing was published.")
    _show_findings(report.findings)
    _show_faults(report.faults, False, "see the faults page")
    click.echo(report.first)
    click.echo(f"{count(report.pages, 'page')}; start at {report.index}")
    if report.faults:
        sys.exit(INCOMPLETE)
    needs_decision = any(finding.weight == "decision" for finding in report.findings)
    sys.exit(FINDINGS if findings_fail and needs_decision else WHOLE)


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.argument("tree", type=click.Path(path_type=Path))
@click.option("--into", default="gathered", show_default=True, help="Part of FOLDER to copy into.")
@click.option("--dry-run", is_flag=True, help="Say what would be copied; write nothing.")
def gather(folder: Path, tree: Path, into: str, dry_run: bool) -> None:
    """Copy the files of TREE that FOLDER/mapping.toml understands into the campaign in FOLDER.

    Nothing in the campaign is overwritten; running it again adds what is new and says what has
    changed since.

    Exit status: 0 every file understood and taken over; 1 something was not, or has changed
    since; 2 nothing done.
    """
    from datetime import UTC, datetime

    from sitegen.gathering import gather as bring
    from sitegen.gathering_campaign import NotGathered
    from sitegen.gathering_report import refusal_lines, report_lines
    from sitegen.starting import wafer_text

    now = datetime.now(UTC).replace(microsecond=0)
    try:
        with _Display() as display:
            report = bring(
                folder,
                tree,
                now,
                display.show,
                into=into,
                dry_run=dry_run,
                start_wafer=wafer_text,
            )
    except NotGathered as problem:
        _stop("\n".join([*refusal_lines(problem), "Nothing was gathered."]))
    click.echo("\n".join(report_lines(report)))
    sys.exit(WHOLE if report.is_whole else INCOMPLETE)


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
        _stop(f"{problem}\nNothing was written.")
    except OSError as problem:
        _stop(f"{folder}: cannot be written ({problem.strerror}). Choose another folder.")
    click.echo(
        f"{count(wafers, 'wafer')} of {count(dies, 'die')} each; start with"
        f" 'sitegen build {folder} --out PUBLICATION'."
    )


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--wafer", "wafers", multiple=True, metavar="ID", help="Add a wafer's record.")
@click.option(
    "--calibration", "calibrations", multiple=True, metavar="ID", help="Add a calibration's record."
)
@click.option(
    "--verification",
    "verifications",
    multiple=True,
    metavar="ID",
    help="Add a verification's record.",
)
@click.option(
    "--method",
    type=click.Choice(["one-port", "SOLT", "SOLR", "LRM", "LRRM", "TRL", "multiline TRL"]),
    help="Method of the calibrations.",
)
def new(
    folder: Path,
    wafers: tuple[str, ...],
    calibrations: tuple[str, ...],
    verifications: tuple[str, ...],
    method: str | None,
) -> None:
    """Start a campaign in FOLDER, or add records to the one that is there.

    The records are commented, and what is not known yet is a marked blank. Those of a campaign and
    of a wafer build as they are; what a calibration or a verification still needs, 'sitegen check'
    tells. Touchstone files that lie in the folder of a new calibration or verification are named in
    its record. Nothing that is there is changed.

    Exit status: 0 done, 2 nothing written.
    """
    from sitegen.new_records import Asked, start

    try:
        done = start(folder, Asked(wafers, calibrations, verifications, method))
    except NotACampaign as problem:
        _show_faults(problem.faults, True, "")
        _stop("Nothing was written.")
    except SitegenError as problem:
        _stop(f"{problem}\nNothing was written.")
    except OSError as problem:
        _stop(f"{folder}: cannot be written ({problem.strerror}). Choose another folder.")
    for path in done.written:
        click.echo(f"written: {path}")
    for path in done.kept:
        click.echo(f"kept as it is: {path}")
    click.echo(
        f"Next: 'sitegen check {folder}' says what is wrong or lacking,"
        f" 'sitegen build {folder} --out PUBLICATION' publishes what is there."
    )


@main.command()
@click.argument("record", required=False)
@click.option("--out", type=click.Path(path_type=Path), help="Folder for one file a schema.")
def schema(record: str | None, out: Path | None) -> None:
    """Print the JSON Schema of RECORD, so that editors complete and check it.

    RECORD is campaign, calibration, verification, acceptance, wafer or mapping; without it all of
    them are printed as one object, by file name. With --out each is written as NAME.schema.json.

    Exit status: 0 done, 2 nothing printed or written.
    """
    import json

    from sitegen import schemas_of_records as schemas
    from sitegen.publish.staging import write_bytes

    if record is not None and record not in schemas.RECORDS:
        names = ", ".join(schemas.RECORDS)
        _stop(f'"{record}" is no record. Choose one of {names}.')
    found = schemas.every_schema()
    if record is not None:
        found = {schemas.schema_file(record): schemas.schema_of(record)}
    if out is None:
        shown = found if record is None else found[schemas.schema_file(record)]
        click.echo(json.dumps(shown, indent=1, ensure_ascii=False))
        return
    try:
        for name, one in found.items():
            write_bytes(out, name, json.dumps(one, indent=1, ensure_ascii=False).encode() + b"\n")
    except OSError as problem:
        _stop(f"{out}: cannot be written ({problem.strerror}). Choose another folder.")
    click.echo(f"{count(len(found), 'schema')} in {out}.")


@main.command()
def reference() -> None:
    """Print every field of every record, as Markdown."""
    from sitegen.render import reference_markdown

    click.echo(reference_markdown(), nl=False)


def _stop(told: str) -> NoReturn:
    """Say why nothing came of it, and end."""
    click.echo(told, err=True)
    sys.exit(NOTHING)


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


TOLD_OF_A_GROUP = 3
"""How many faults of one cause the command shows; the page shows all."""


def _show_faults(faults: Sequence[Fault], every: bool, elsewhere: str) -> None:
    """Show faults by cause with their counts; `elsewhere` says where the others are found."""
    groups = grouped(faults)
    if groups:
        total = sum(group.count for group in groups)
        click.echo(f"Faults of the input: {total} in {count(len(groups), 'group')}", err=True)
    for group in groups:
        click.echo(f"{group.cause}: {group.count}", err=True)
        shown = group.faults if every else group.faults[:TOLD_OF_A_GROUP]
        for fault in shown:
            click.echo(f"  {fault.sentence()}", err=True)
        if len(shown) < group.count:
            click.echo(f"  and {group.count - len(shown)} more like it: {elsewhere}", err=True)


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
