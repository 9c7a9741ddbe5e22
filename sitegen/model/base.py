"""What every record that stands in a file has in common.

A record is immutable, refuses fields it does not know, and converts nothing silently: a number
in quotes is not a number, a time without a zone is not a time. `sitegen.read` turns each refusal
into one sentence for the person who wrote the file.
"""

from typing import Annotated

from pydantic import (
    AfterValidator,
    AwareDatetime,
    BaseModel,
    ConfigDict,
    Field,
    TypeAdapter,
    ValidationError,
)


class Record(BaseModel):
    """A frozen record of a file; unknown fields are refused, types are strict.

    What checks a record is built when it is first needed: most are only parts of others.
    """

    model_config = ConfigDict(
        frozen=True, extra="forbid", strict=True, allow_inf_nan=False, defer_build=True
    )


RESERVED = frozenset(
    {"CON", "PRN", "AUX", "NUL"}
    | {f"{device}{number}" for device in ("COM", "LPT") for number in range(10)}
)
"""Names of devices that Windows allows for no file, in any case and with any extension.

Microsoft, Naming Files, Paths, and Namespaces (quoted from memory).
"""


def _whole_name(text: str) -> str:
    if text in {".", ".."} or text.endswith("."):
        raise ValueError("an identifier must not end with a full stop")
    if text.partition(".")[0].upper() in RESERVED:
        raise ValueError(f"no file can be called {text!r} under Windows: choose another identifier")
    return text


Identifier = Annotated[
    str,
    Field(
        pattern=r"^[A-Za-z0-9][A-Za-z0-9._+-]*$",
        max_length=64,
        description="letters, digits, '.', '_', '+' and '-'; it becomes part of a page's address",
    ),
    AfterValidator(_whole_name),
]
_IDENTIFIER: TypeAdapter[str] = TypeAdapter(Identifier)


def is_identifier(text: str) -> bool:
    """Whether a text can be the id of a record."""
    try:
        _IDENTIFIER.validate_python(text)
    except ValidationError:
        return False
    return True


FileName = Annotated[
    str,
    Field(
        pattern=r"^[^/\\:*?\"<>|\x00-\x1f][^\\:*?\"<>|\x00-\x1f]*$",
        description="path relative to the record's own folder, with forward slashes",
    ),
]
Text = Annotated[str, Field(min_length=1)]
BLANK = "TO FILL IN"
"""A text that is, or begins with, these words is an entry still to be filled in."""


def is_blank(text: str) -> bool:
    """Whether a text is an entry still to be filled in."""
    return text.startswith(BLANK)


Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
GREATEST = 1e30
"""Of what the next three accept: squares and products of such numbers stay finite."""
Size = Annotated[float, Field(gt=0, le=GREATEST)]
"""A positive number that is calculated with: an uncertainty, a factor."""
SizeOrZero = Annotated[float, Field(ge=0, le=GREATEST)]
Signed = Annotated[float, Field(ge=-GREATEST, le=GREATEST)]
"""Of either sign, or zero."""
Instant = AwareDatetime
