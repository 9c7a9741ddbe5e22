"""Turn a campaign of on-wafer measurements into a linked, static record of evidence."""

__version__ = "0.1.0"
