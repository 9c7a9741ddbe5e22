"""From a campaign's folder to a publication: the stages in their order."""

import itertools
import os
import shutil
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import Any

import orjson

from sitegen import __version__, addresses, event_jobs, jobs, render, wafer_jobs
from sitegen.campaign_pages import write_campaign_pages
from sitegen.checking import Progress, Report
from sitegen.compute.events import Events, solve_events
from sitegen.joining import join
from sitegen.model.loaded import Campaign, Note
from sitegen.model.results import CampaignResults, Drawing
from sitegen.problems import NotPublished
from sitegen.publish.links import broken_links
from sitegen.publish.staging import MARK, refuse_nested, staged, write_bytes
from sitegen.read import read_campaign
from sitegen.wafer_listing import Lent, compute_jobs, event_digests, lent_beforehand

EVENTS_A_PROCESS = 8
"""Fewer events than this are drawn sooner than another process has begun."""


def build(folder: Path, out: Path, progress: Progress, workers: int | None = None) -> Report:
    """Publish a campaign; the old publication stands until the new one is whole.

    Raises NotACampaign where the folder is none, NotPublished where `out` cannot be written.
    """
    refuse_nested(folder, out)
    progress("reading records", 0, 1)
    campaign, faults = read_campaign(folder)
    progress("solving calibrations", 0, 1)
    events = solve_events(campaign)
    with staged(out) as root, _executor(workers, campaign) as executor:
        work = root / ".work"
        work.mkdir()
        lent, computed = compute_wafers(campaign, events, work, executor, progress)
        progress("joining wafers", 0, 1)
        results = join(
            campaign,
            events,
            computed,
            lent,
            (*faults, *events.faults()),
            root,
        )
        published = publish_wafers(campaign, results, computed, root, executor, progress)
        drawn = draw_events(campaign, results, root, executor, progress)
        progress("writing pages", 0, 1)
        pages = write_campaign_pages(results, published, drawn, root)
        finish(results, root, work, pages)
    return Report(
        campaign.record,
        out / addresses.HOME,
        pages,
        results.faults,
        results.findings,
        render.first_words(results),
    )


def compute_wafers(
    campaign: Campaign,
    events: Events,
    work: Path,
    executor: Executor | None,
    progress: Progress,
) -> tuple[Lent, tuple[wafer_jobs.Computed, ...]]:
    """What wafers need of each other, then the first pass: each wafer by itself."""
    lent = lent_beforehand(campaign, events, work, executor)
    listed = compute_jobs(campaign, events, work, lent)
    return lent, jobs.run(listed, executor, _counter(progress, "computing wafers", listed))


def publish_wafers(
    campaign: Campaign,
    results: CampaignResults,
    computed: Sequence[wafer_jobs.Computed],
    root: Path,
    executor: Executor | None,
    progress: Progress,
) -> Mapping[str, wafer_jobs.Published]:
    """Second pass: each wafer's drawings and pages, by the wafer's id."""
    notes = {wafer.record.id: wafer.note for wafer in campaign.wafers}
    page_jobs = [_pages_job(one, notes[one.record.id], results, root) for one in computed]
    done = jobs.run(page_jobs, executor, _counter(progress, "writing wafers", page_jobs))
    return {job.name: published for job, published in zip(page_jobs, done, strict=True)}


def draw_events(
    campaign: Campaign,
    results: CampaignResults,
    root: Path,
    executor: Executor | None,
    progress: Progress,
) -> Mapping[str, Mapping[str, Drawing]]:
    """The drawings of calibrations, verifications and acceptances, written; by their subject."""
    digests = event_digests(campaign, None)
    factor = results.context.record.decision.coverage_factor
    events: tuple[event_jobs.Event, ...] = (
        *results.calibrations,
        *results.verifications,
        *results.acceptances,
    )
    listed = [
        jobs.Job(
            kind="drawings",
            name=event_jobs.subject_of(event),
            key=jobs.key_of(
                "drawings",
                {
                    "event": event_jobs.subject_of(event),
                    "events": digests,
                    "campaign": campaign.record.model_dump(mode="json", exclude={"campaign"}),
                },
            ),
            function=event_jobs.draw,
            argument=event_jobs.DrawArgument(event, factor, root),
        )
        for event in events
    ]
    done = jobs.run(listed, executor, _counter(progress, "drawing events", listed))
    return {job.name: drawn for job, drawn in zip(listed, done, strict=True)}


def finish(results: CampaignResults, root: Path, work: Path, pages: int) -> None:
    """Remove what was kept for this build, check every link, and mark the folder as whole."""
    shutil.rmtree(work)
    for table in results.without_rows:
        for address, _ in table.files:
            (root / address).unlink()
    broken = broken_links(root)
    if broken:
        first = broken[0]
        raise NotPublished(
            f"{first.page}: its link to {first.link} leads nowhere ({first.reason}), and"
            f" {len(broken) - 1} more like it. This is a mistake of the program: please report it."
        )
    identity = results.context.record.campaign
    mark = {
        "program": "wafer-sitegen",
        "version": __version__,
        "campaign": identity.id,
        "edition": identity.edition,
        "pages": pages,
    }
    write_bytes(root, MARK, orjson.dumps(mark, option=orjson.OPT_INDENT_2) + b"\n")


def _pages_job(
    one: wafer_jobs.Computed, note: Note | None, results: CampaignResults, root: Path
) -> jobs.Job[wafer_jobs.PagesArgument, wafer_jobs.Published]:
    """The second job of a wafer; its key holds its results and the context of the campaign."""
    subject, home = f"wafer {one.record.id}", addresses.wafer(one.record.id)
    return jobs.Job(
        kind="pages",
        name=one.record.id,
        key=jobs.key_of("pages", {"results": one.key, "context": jobs.digest_of(results.context)}),
        function=wafer_jobs.publish,
        argument=wafer_jobs.PagesArgument(
            record=one.record,
            note=note,
            kept=one.kept,
            context=results.context,
            findings=tuple(
                found
                for found in results.findings
                if found.subject == subject
                or (found.subject.startswith("agreement ") and found.address == home)
            ),
            agreements=tuple(each for each in results.agreements if each.wafer == one.record.id),
            faults=tuple(
                fault
                for fault in results.faults
                if fault.file.startswith(f"wafers/{one.record.id}/")
            ),
            root=root,
        ),
    )


def _executor(workers: int | None, campaign: Campaign) -> AbstractContextManager[Executor | None]:
    """Processes for the wafers; none where one process has all the work."""
    wanted = workers or os.cpu_count() or 1
    events = len(campaign.calibrations) + len(campaign.verifications)
    count = min(wanted, max(len(campaign.wafers), events // EVENTS_A_PROCESS))
    return jobs.local_executor(count) if count > 1 else nullcontext()


def _counter(progress: Progress, stage: str, listed: Sequence[Any]) -> Callable[[Any], None]:
    """Tells of a stage's progress, one job done at a time."""
    done = itertools.count(1)
    progress(stage, 0, len(listed))
    return lambda _: progress(stage, next(done), len(listed))
