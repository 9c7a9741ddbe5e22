"""Markdown notes: those in notes/, and note.md beside a record."""

import os

from sitegen.model.loaded import Note
from sitegen.read.files import Intake, line_of_bad_byte, text_of

NOTE = "note.md"


def read_note(intake: Intake, file: str, subject: str) -> Note | None:
    """The note in `file`, or None and a fault when it is no UTF-8 text."""
    content = intake.read(file, what="a note in Markdown")
    if content is None:
        return None
    text = text_of(content)
    if text is None:
        intake.tell(
            file,
            f"line {line_of_bad_byte(content)}",
            found="bytes that are not UTF-8 text",
            expected="Markdown, written in UTF-8",
            remedy="Save the note as UTF-8 text.",
        )
        return None
    return Note(file, subject, text)


def note_beside(intake: Intake, record_file: str, subject: str) -> Note | None:
    """The note beside a record, None where there is none."""
    file = f"{record_file.rpartition('/')[0]}/{NOTE}"
    if not os.path.lexists(intake.folder / file):  # False where it may not be looked at
        return None
    return read_note(intake, file, subject)
