"""One file under two names: two sweeps of a record that are equal byte for byte."""

from collections.abc import Sequence

from sitegen.read.files import Intake, beside
from sitegen.read.words import quoted


def tell_copies(intake: Intake, file: str, named: Sequence[tuple[str, str]]) -> tuple[str, ...]:
    """Tell each file with the same bytes as an earlier one of the record; noise forbids that.

    named: (place in the record, name of the file) of each sweep that was measured for itself.
    Returns phrases that say what is therefore missing.
    """
    first: dict[str, str] = {}
    missing = []
    for place, name in named:
        source = intake.sources.get(beside(file, name))
        if source is None:
            continue
        earlier = first.setdefault(source.sha256, name)
        if earlier == name:
            continue
        intake.tell(
            file,
            place,
            found=f"{quoted(name)}, which has the same bytes as {quoted(earlier)}",
            expected="a sweep of its own: two measurements differ by noise",
            remedy="Put the right file under the name that is wrong, or take the sweep again.",
            cause="One file under two names",
        )
        missing.append(f"the raw sweeps {earlier} and {name} are one and the same file")
    return tuple(missing)
