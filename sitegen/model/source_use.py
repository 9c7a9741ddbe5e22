"""What a campaign has of the files that a station left, source by source."""

from dataclasses import dataclass

from sitegen.model.mapping import Source


@dataclass(frozen=True)
class SourceUse:
    """A source of mapping.toml and what the campaign has of it."""

    source: Source
    files: int
    """That it understands."""
    wafers: tuple[str, ...]
    """That these files are of, with a record; none of calibrations and verifications."""
