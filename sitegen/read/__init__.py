"""A campaign's folder in, records and faults out. Nothing else in the program opens an input."""

from sitegen.read.campaign import read_campaign
from sitegen.read.files import digest
from sitegen.read.tables import read_wafer_tables

__all__ = ["digest", "read_campaign", "read_wafer_tables"]
