"""View of the page of notes: every note of the campaign, beside the record it belongs to."""

from dataclasses import dataclass

from markupsafe import Markup

from sitegen import addresses
from sitegen.model.results import CampaignResults
from sitegen.render.environment import render
from sitegen.render.markdown import note_text
from sitegen.render.page import Page
from sitegen.render.phrases import capital, counted
from sitegen.render.pieces import Link, NoteText
from sitegen.render.shell import shell


@dataclass(frozen=True, slots=True)
class NoteView:
    """A note and the page of the record that it stands beside."""

    note: NoteText
    page: Link | None


@dataclass(frozen=True, slots=True)
class NotesView:
    """Contract of templates/notes.html."""

    title: str
    lead: tuple[Markup, ...]
    notes: tuple[NoteView, ...]


def notes_page(results: CampaignResults) -> Page:
    """The page of all notes; each of them stands on its own record's page too."""
    around = shell(results.context.record, addresses.NOTES, "Notes")
    return Page(addresses.NOTES, render("notes", view(results), around))


def view(results: CampaignResults) -> NotesView:
    """What the page of notes shows."""
    count = len(results.notes)
    lead = (
        f"The record holds {counted(count, 'note')}, shown here as written."
        if count
        else "The record holds no note."
    )
    return NotesView(
        title="Notes",
        lead=(Markup(lead),),
        notes=tuple(
            NoteView(note_text(note, str(capital(note.subject))), _page(note.subject, results))
            for note in results.notes
        ),
    )


def _page(subject: str, results: CampaignResults) -> Link | None:
    kind, _, name = subject.partition(" ")
    known = {
        "wafer": (addresses.wafer, {wafer.id for wafer in results.wafer_records}),
        "calibration": (addresses.calibration, set(results.context.calibrations)),
        "verification": (
            addresses.verification,
            {each.record.id for each in results.verifications},
        ),
        "acceptance": (addresses.acceptance, {each.record.id for each in results.acceptances}),
    }
    if kind not in known or name not in known[kind][1]:
        return None
    target = known[kind][0](name)
    return Link(f"Page of {subject}", addresses.relative(target, addresses.NOTES))
