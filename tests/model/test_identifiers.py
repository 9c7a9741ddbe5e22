"""Identifiers become names of files: what no system has under such a name is refused."""

import pytest
from pydantic import TypeAdapter, ValidationError

from sitegen.model.base import Identifier

ADAPTER: TypeAdapter[str] = TypeAdapter(Identifier)


@pytest.mark.parametrize("name", ["NUL", "con", "Aux", "COM1", "lpt9", "prn.2", "nul.txt"])
def test_names_that_windows_keeps_for_devices_are_refused(name: str) -> None:
    with pytest.raises(ValidationError, match="under Windows"):
        ADAPTER.validate_python(name)


@pytest.mark.parametrize("name", ["NULL", "CON-1", "COM", "COM10", "AUXILIARY", "LPT-1", "W1.con"])
def test_names_that_only_look_alike_are_taken(name: str) -> None:
    assert ADAPTER.validate_python(name) == name
