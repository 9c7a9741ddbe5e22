"""The mapping that the README shows is one that can be used."""

import re
import tomllib
from pathlib import Path

from sitegen.model.mapping import MappingRecord
from sitegen.read.foreign.source_troubles import declaration_troubles
from sitegen.read.toml_file import _frozen  # as the reader does

README = Path(__file__).parents[3] / "README.md"


def test_each_source_of_the_readme_can_be_used() -> None:
    blocks = re.findall(r"```toml\n(.*?)```", README.read_text(encoding="utf-8"), re.S)
    (block,) = [text for text in blocks if "[[sources]]" in text]
    record = MappingRecord.model_validate(_frozen(tomllib.loads(block)))
    assert [source.id for source in record.sources] == ["rf", "parametric", "standards"]
    assert [trouble for one in record.sources for trouble in declaration_troubles(one)] == []
