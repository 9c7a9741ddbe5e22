"""What is said of files in a source's folder that cannot be given to one source."""

from collections.abc import Mapping, Sequence

from sitegen.model.mapping import GATHERED, MAPPING_FILE, Source
from sitegen.read.files import Intake
from sitegen.read.foreign.patterns import Pattern, near_miss
from sitegen.read.words import choices, quoted


def extension(name: str) -> str:
    """What stands behind the last full stop, in small letters."""
    return name.rpartition(".")[2].lower()


def tell_nothing(intake: Intake, source: Source, *, is_there: bool) -> None:
    """A source that no file fits."""
    again = "Correct the pattern"
    if source.folder.split("/")[0] == GATHERED:
        again = f"Run 'sitegen gather', or correct the pattern in {MAPPING_FILE}"
    intake.tell(
        MAPPING_FILE,
        f'sources.{"files" if is_there else "folder"} (id "{source.id}")',
        found=f"{quoted(source.files)}, which fits no file in {quoted(source.folder)}"
        if is_there
        else f"{quoted(source.folder)}, where there is no such folder",
        expected="at least one file",
        remedy=f"{again}; a source that is not needed yet can be taken out.",
    )


def tell_many(intake: Intake, files: Sequence[str], ids: Sequence[str]) -> None:
    """Files that several sources understand."""
    intake.tell(
        files[0],
        "",
        found=f"a file that the sources {' and '.join(map(quoted, ids))} both understand",
        expected="one source for each file",
        remedy=f"Make the patterns in {MAPPING_FILE} exclude each other; until then it is left"
        " out.",
        count=len(files),
    )


def tell_ambiguous(intake: Intake, files: Sequence[str], source: Source) -> None:
    """Files whose name the pattern of their source can read in two ways."""
    intake.tell(
        files[0],
        "",
        found=f"a name that the pattern {quoted(source.files)} can read in two ways",
        expected="one way to read it",
        remedy=f"Add fixed text between the fields of source {quoted(source.id)}; until then the"
        " file is left out.",
        count=len(files),
    )


def tell_nobody(
    intake: Intake, files: Sequence[str], sources: Sequence[Source], patterns: Mapping[str, Pattern]
) -> None:
    """Files of one kind that no source understands, in one sentence."""
    near = [one for one in sources if files[0].startswith(one.folder + "/")]
    misses = [
        near_miss(patterns[one.id], files[0][len(one.folder) + 1 :])
        for one in near
        if extension(one.files) == extension(files[0])
    ]
    intake.tell(
        files[0],
        "",
        found="a file that no source understands" + (f" ({misses[0]})" if misses else ""),
        expected=f"a pattern of {MAPPING_FILE} that fits its name"
        + (f", such as that of {choices(one.id for one in near)}" if near else ""),
        remedy="Correct the pattern or the file's name, or take the file out of the campaign.",
        count=len(files),
    )
