"""A TOML record: parsed, checked against its model, each refusal told as a fault."""

import re
import tomllib
from typing import TypeVar

from pydantic import ValidationError

from sitegen.model.base import Record
from sitegen.read.files import Intake, line_of_bad_byte, text_of
from sitegen.read.refusals import told
from sitegen.read.words import printable, quoted

AnyRecord = TypeVar("AnyRecord", bound=Record)

_PLACE = re.compile(
    r"^(?P<reason>.*?) \(at (?P<place>line \d+, column \d+|end of document)\)$", re.S
)


_DECIMAL_COMMA = re.compile(r"=\s*[+-]?\d+,\d+\s*(#.*)?$")


def read_record(
    intake: Intake, file: str, model: type[AnyRecord], what: str, fatal: bool = False
) -> AnyRecord | None:
    """The record that stands in `file`, or None; every refusal becomes a fault of the intake.

    `what` says what the file should be, for example 'the record of a calibration'; `fatal` marks
    the faults of the one record without which nothing can be published.
    """
    before = len(intake.faults)
    record = _record(intake, file, model, what)
    if record is None:
        intake.refused.add(file)
        if fatal:
            intake.make_fatal(before)
    return record


def _record(intake: Intake, file: str, model: type[AnyRecord], what: str) -> AnyRecord | None:
    content = intake.read(file, what=what)
    if content is None:
        return None
    text = text_of(content)
    if text is None:
        intake.tell(
            file,
            f"line {line_of_bad_byte(content)}",
            found="bytes that are not UTF-8 text",
            expected="TOML, which is written in UTF-8",
            remedy="Save the file as UTF-8 text.",
        )
        return None
    parsed = _parsed(intake, file, text)
    if parsed is None:
        return None
    try:
        return model.model_validate(_frozen(parsed))
    except ValidationError as refusal:
        for place, found, expected, remedy in told(refusal, model, parsed):
            intake.tell(file, place, found=found, expected=expected, remedy=remedy)
        return None


def _parsed(intake: Intake, file: str, text: str) -> dict[str, object] | None:
    reason, place = "brackets nested too deeply", ""
    try:
        return tomllib.loads(text)
    except RecursionError:
        pass
    except ValueError as error:
        match = _PLACE.match(str(error))
        reason, place = (match["reason"], match["place"]) if match else (str(error), "")
    reason = printable(reason[:1].lower() + reason[1:])
    line = _line_at(text, place)
    if _DECIMAL_COMMA.search(line):
        intake.tell(
            file,
            place,
            found=f"a number with a decimal comma in {quoted(printable(line.strip())[:80])}",
            expected="a decimal point",
            remedy="Correct the line; what follows it in this file could not be checked.",
        )
        return None
    intake.tell(
        file,
        place,
        found=f"something that is not TOML ({reason})",
        expected="lines such as key = value, texts in double quotes and times without",
        remedy="Correct the line; what follows it in this file could not be checked.",
    )
    return None


def _frozen(value: object) -> object:
    """The same value with each list as a tuple, which the strict records ask for.

    The parser itself refuses nesting deeper than this function can follow.
    """
    if isinstance(value, dict):
        return {key: _frozen(entry) for key, entry in value.items()}
    return tuple([_frozen(entry) for entry in value]) if isinstance(value, list) else value


def _line_at(text: str, place: str) -> str:
    """The line that a place such as 'line 7, column 12' names; empty for another place."""
    found = re.match(r"line (\d+)", place)
    lines = text.splitlines()
    return lines[int(found[1]) - 1] if found and int(found[1]) <= len(lines) else ""
