"""Which files of a tree are understood by their names, and where each belongs in the campaign.

Pure: nothing here opens a file. What is not understood becomes a `Told`, never a guess.
"""

import re
import unicodedata
from collections import defaultdict
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import numpy.typing as npt

from sitegen.model.base import RESERVED, is_identifier
from sitegen.model.mapping import MAPPING_FILE, Source
from sitegen.read.foreign.gathered_list import RECORD
from sitegen.read.foreign.model import Column, Resolved
from sitegen.read.foreign.patterns import Pattern, compiled, is_ambiguous, near_miss, said
from sitegen.read.foreign.tree import TreeFile
from sitegen.read.words import quoted

Says = tuple[tuple[str, str], ...]
Resolve = Callable[
    [Source, Mapping[str, npt.NDArray[np.object_]], int, Sequence[datetime | None]], Resolved
]
"""`sitegen.read.foreign.fields.resolve`."""
_MOST_FOLDERS = 50
"""One inside the other; deeper files are left to people."""
_MOST_MISSES = 3000
"""Of different names whose nearest pattern is looked for; more are told without."""
_EVENTS = {
    "calibration sweeps": ("calibration", "calibrations"),
    "verification sweeps": ("verification", "verifications"),
}
_ELSEWHERE = re.compile(r'[<>:"|?*]|[ .](/|$)')


@dataclass(frozen=True)
class Told:
    """Something about a file of the tree that has to be said; alike ones are said together."""

    path: str
    what: str
    """A phrase that follows the path."""
    remedy: str
    """What to do, as a sentence."""
    kind: str = ""
    """Parts those whose words are alike: an extension, for example."""


@dataclass(frozen=True)
class Named:
    """A file of the tree whose name one source understands."""

    path: str
    source: Source
    says: Says
    """What its path says, and its lines where the source has such."""
    modified_at: datetime | None
    told: tuple[Told, ...] = ()
    """What is wrong with its lines."""


@dataclass(frozen=True)
class Placed:
    """A file that is understood, and where it belongs."""

    path: str
    """Relative to the tree."""
    file: str
    """Relative to the campaign's folder."""
    named: Named
    entry: int
    """Its place in what was resolved of its source."""
    told: tuple[Told, ...] = ()
    """What is wrong with what it says; it is copied all the same, and `check` tells it again."""


def matched(
    files: Sequence[TreeFile], sources: Sequence[Source], aside: Sequence[str] = ()
) -> tuple[tuple[Named, ...], tuple[Told, ...], tuple[str, ...]]:
    """Each file with the one source that understands its name; the others are told, but for those
    that no source understands and a pattern of `aside` does: these come last."""
    not_needed = [compiled(text) for text in aside]
    left: list[str] = []
    patterns = [(one, compiled(one.files, one.minus, one.point)) for one in sources]
    named: list[Named] = []
    told: list[Told] = []
    misses: dict[str, str] = {}
    for file in files:
        unfit = _unfit(file.path)
        if unfit is not None:
            told.append(Told(file.path, unfit, "Rename it in the tree."))
            continue
        fits = [
            (source, pattern, says)
            for source, pattern in patterns
            if (says := said(pattern, file.path)) is not None
        ]
        if not fits and any(said(one, file.path) is not None for one in not_needed):
            left.append(file.path)
        elif not fits:
            told.append(_told_nobody(file.path, patterns, misses))
        elif len(fits) > 1:
            told.append(_told_many(file.path, [source.id for source, _, _ in fits]))
        elif is_ambiguous(fits[0][1], file.path):
            told.append(_told_ambiguous(file.path, fits[0][0]))
        else:
            named.append(Named(file.path, fits[0][0], fits[0][2], file.modified_at))
    return tuple(named), tuple(told), tuple(left)


def resolved(source: Source, files: Sequence[Named], resolve: Resolve) -> Resolved:
    """What the files of a source say, in the campaign's own terms."""
    says = [dict(one.says) for one in files]
    fields = sorted({field for each in says for field in each})
    texts = {
        field: np.array([each.get(field) for each in says], dtype=np.object_) for field in fields
    }
    return resolve(source, texts, len(files), [one.modified_at for one in files])


def placed(
    source: Source, files: Sequence[Named], found: Resolved, into: str
) -> tuple[tuple[Placed, ...], tuple[Told, ...]]:
    """Where each file of a source belongs; those of which nothing says it are told.

    found: what the files say, without columns and refusals where only the rows of their tables do.
    """
    wrong = _refused(source, files, found)
    for field in ("wafer", "calibration", "verification"):
        wrong.update(_no_ids(source, files, found.columns.get(field), field, wrong))
    told: dict[int, Told] = {}
    places = []
    for entry, one in enumerate(files):
        file = f"{into}/{one.path}"
        if source.holds in _EVENTS:
            if entry in wrong:
                told[entry] = wrong[entry]
                continue
            field, folder = _EVENTS[source.holds]
            event = _text(found.columns.get(field), entry)
            if event is None:
                told[entry] = _told_no_event(one.path, source, field)
                continue
            name = one.path.rpartition("/")[2]
            if name.casefold() == RECORD:
                what = f"its name is that of the {field}'s own record"
                told[entry] = Told(one.path, what, "Rename it in the tree.")
                continue
            file = f"{folder}/{event}/{name}"
        faults = (*one.told, *([wrong[entry]] if entry in wrong else []))
        places.append(Placed(one.path, file, one, entry, faults))
    return tuple(places), tuple(told.values())


def events_apart(
    places: Sequence[Placed], other_spelling: Callable[[str, str], str | None]
) -> tuple[tuple[Placed, ...], tuple[Told, ...]]:
    """The files without those of a calibration or verification whose id differs by capitals only
    from another one's, of the tree or of the campaign: one folder on some systems.

    other_spelling: from a kind and an id, the campaign's that differs by capitals; None: no such.
    """
    events = {one.file: _event_of(one) for one in places}
    spelled: dict[tuple[str, str], set[str]] = defaultdict(set)
    for event in events.values():
        if event is not None:
            spelled[event[0], event[1].casefold()].add(event[1])
    clash: dict[tuple[str, str], str] = {}
    for (kind, _), names in spelled.items():
        for name in names:
            before = other_spelling(kind, name)
            others = sorted(names - {name})
            if before is not None:
                clash[kind, name] = f"the campaign has {kind}s/{before}, which"
            elif others and all(other_spelling(kind, other) is None for other in others):
                clash[kind, name] = f"the tree has {kind} {others[0]} too, which"
    told = tuple(
        Told(
            one.path,
            f"it belongs to {event[0]} {event[1]}; {clash[event]} differs by capitals only",
            f"Give both one spelling under 'rename' of source {quoted(one.named.source.id)}.",
        )
        for one in places
        if (event := events[one.file]) is not None and event in clash
    )
    return tuple(one for one in places if events[one.file] not in clash), told


def _event_of(one: Placed) -> tuple[str, str] | None:
    """The kind and the id of the calibration or verification that a file belongs to."""
    if one.named.source.holds not in _EVENTS:
        return None
    return _EVENTS[one.named.source.holds][0], one.file.split("/")[1]


def without_collisions(
    places: Sequence[Placed], listed: Collection[str]
) -> tuple[tuple[Placed, ...], tuple[Told, ...]]:
    """Those whose place no other file takes, nor one whose name differs only by capitals.

    `listed`: the files of the campaign that were gathered before.
    """
    there = {_folded(file): file for file in listed}
    by_place: dict[str, list[Placed]] = defaultdict(list)
    for one in places:
        by_place[_folded(one.file)].append(one)
    told: list[Told] = []
    alone: list[Placed] = []
    for folded, group in by_place.items():
        before = there.get(folded)
        if len(group) > 1:
            told.extend(_told_collision(one, group) for one in group)
        elif before is not None and before != group[0].file:
            told.append(
                Told(
                    group[0].path,
                    f"a name that differs only by capitals from {before} of the campaign",
                    "Rename it in the tree.",
                )
            )
        else:
            alone.append(group[0])
    return tuple(alone), tuple(told)


def is_not_for_every_system(path: str) -> bool:
    """Whether a path has what a folder of Windows cannot hold (common practice)."""
    return _ELSEWHERE.search(path) is not None or any(
        part.partition(".")[0].upper() in RESERVED for part in path.split("/")
    )


def _unfit(path: str) -> str | None:
    """Why a name is not taken into a campaign at all, as a phrase."""
    kinds = {unicodedata.category(char) for char in path}
    if "Cs" in kinds:
        return "a name with bytes that are not UTF-8 text"
    if kinds & {"Cc", "Zl", "Zp"}:
        return "a name with control characters, such as a line break"
    if "\\" in path:
        return "a name with a backslash"
    deep = path.count("/")
    return f"a path of {deep} folders, one inside the other" if deep > _MOST_FOLDERS else None


def _told_nobody(
    path: str, patterns: Sequence[tuple[Source, Pattern]], misses: dict[str, str]
) -> Told:
    """That no pattern fits, and why the nearest does not."""
    alike = re.sub(r"[0-9]+", "0", path)
    if alike not in misses and len(misses) < _MOST_MISSES:
        source, pattern = max(patterns, key=lambda one: _likeness(one[1], path))
        misses[alike] = f"; nearest is that of {quoted(source.id)}: {near_miss(pattern, path)}"
    return Told(
        path,
        f"no source's pattern fits{misses.get(alike, '')}",
        f"Correct the pattern in {MAPPING_FILE}, add a source, or name the file under 'aside'.",
        path.rpartition("/")[2].rpartition(".")[2].lower(),
    )


def _likeness(pattern: Pattern, path: str) -> float:
    """How much of a pattern's fixed text a path has, in its order and at its end."""
    at, found, total = 0, 0, 0
    fixed = [part.text.lower() for part in pattern.parts if part.kind == "literal"]
    lower = path.lower()
    for text in fixed:
        total += len(text)
        place = lower.find(text, at)
        if place >= 0:
            at = place + len(text)
            found += len(text)
    alike = lower.rpartition(".")[2] == pattern.text.lower().rpartition(".")[2]
    return (found / total if total else 0.0) + alike


def _told_many(path: str, ids: Sequence[str]) -> Told:
    return Told(
        path,
        f"the patterns of {' and '.join(map(quoted, ids))} both fit",
        f"Make the patterns in {MAPPING_FILE} exclude each other.",
    )


def _told_ambiguous(path: str, source: Source) -> Told:
    return Told(
        path,
        f"the pattern of {quoted(source.id)} can read the name in two ways",
        "Add fixed text between its fields.",
    )


def _told_no_event(path: str, source: Source, field: str) -> Told:
    return Told(
        path,
        f"nothing says which {field} it belongs to",
        f"Add {{{field}}} to the pattern of {quoted(source.id)}, or {field} to its constants.",
    )


def _told_collision(one: Placed, group: Sequence[Placed]) -> Told:
    other = next(each for each in group if each is not one)
    if other.file == one.file:
        what = f"it belongs to {one.file}, and so does {other.path}"
    else:
        what = f"its name differs only by capitals from {other.path}"
    return Told(one.path, what, "Rename one of them in the tree; until then neither is copied.")


def _refused(source: Source, files: Sequence[Named], found: Resolved) -> dict[int, Told]:
    """The files that cannot be taken as they say, by entry; each is told once."""
    told: dict[int, Told] = {}
    for refusal in found.refusals:
        for entry in map(int, np.flatnonzero(refusal.bad)):
            if entry not in told:
                what = f"{refusal.field}: found {refusal.found(entry)}, expected {refusal.expected}"
                told[entry] = Told(files[entry].path, what, refusal.remedy, source.id)
    return told


def _no_ids(
    source: Source,
    files: Sequence[Named],
    column: Column | None,
    field: str,
    told: Mapping[int, Told],
) -> dict[int, Told]:
    """Files whose wafer, calibration or verification cannot be the id of a record."""
    if column is None:
        return {}
    good = {text: is_identifier(text) for text in set(column.tolist()) if text is not None}
    return {
        entry: Told(
            files[entry].path,
            f"{field}: found {quoted(str(text))}, expected an id as records have it: letters,"
            " digits, '.', '_', '+' and '-', and none that Windows keeps for a device",
            f"Give it another name under 'rename' of source {quoted(source.id)}.",
        )
        for entry, text in enumerate(column.tolist())
        if text is not None and not good[text] and entry not in told
    }


def _text(column: Column | None, entry: int) -> str | None:
    value = None if column is None else column[entry]
    return None if value is None else str(value)


def _folded(path: str) -> str:
    """A path as file systems see it that do not tell capitals, nor forms of accents, apart."""
    return unicodedata.normalize("NFC", path).casefold()
