"""A simulated campaign before it is written: the content of every file, and the truth beside it."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

import pyarrow as pa

from sitegen.model.arrays import ComplexArray, FloatArray


@dataclass(frozen=True, eq=False)
class SimulatedSweep:
    """The content of one Touchstone file."""

    frequency_hz: FloatArray
    """Shape (n_freq,), increasing."""
    s: ComplexArray
    """Shape (n_freq, n_port, n_port), receiving port first; one or two ports."""
    says: str
    """What the file's comment line says it is."""


@dataclass(frozen=True, eq=False)
class Portion:
    """One record of a campaign with everything that lies beside it."""

    folder: str
    """Relative to the campaign's folder; empty for the campaign itself."""
    record_file: str
    record: Mapping[str, object]
    """Content of the TOML file: strings, numbers, truth values, dates, lists and tables."""
    sweeps: Mapping[str, SimulatedSweep] = field(default_factory=dict)
    """Touchstone files by name, relative to `folder`."""
    tables: Mapping[str, pa.Table] = field(default_factory=dict)
    """Parquet files by name, relative to `folder`."""
    notes: Mapping[str, str] = field(default_factory=dict)
    """Markdown files by name, relative to `folder`."""
    true_values: pa.Table | None = None
    """A wafer's values as they truly are, with the keys of its tables."""
    true_tables: Mapping[str, pa.Table] = field(default_factory=dict)
    """Further truth by name, relative to `folder` in the truth's own folder."""


@dataclass(frozen=True)
class SimulatedCampaign:
    """Every portion of a campaign, each made anew whenever it is asked for.

    Only the portion in hand is in memory: a maker is a pure function of the seed and its index.
    """

    makers: tuple[Callable[[], Portion], ...]

    def portions(self) -> Iterator[Portion]:
        """The portions in the order in which they are written, the campaign's own first."""
        return (make() for make in self.makers)
