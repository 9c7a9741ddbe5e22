"""The state of the RF path: what must be equal for a calibration to hold for a sweep."""

from pydantic import Field

from sitegen.model.base import Identifier, Positive, Record


class StationState(Record):
    """Settings and parts of the RF path at the time of a sweep."""

    source_power_dbm: float
    attenuator_db: float
    if_bandwidth_hz: Positive
    probes: tuple[Identifier, ...] = Field(min_length=1)
    cables: tuple[Identifier, ...] = ()
    switch_path: Identifier | None = None
    bias_tees: tuple[Identifier, ...] = ()


STATE_WORDS = {
    "source_power_dbm": "source power",
    "attenuator_db": "attenuator",
    "if_bandwidth_hz": "IF bandwidth",
    "probes": "probes",
    "cables": "cables",
    "switch_path": "switch path",
    "bias_tees": "bias tees",
}
"""What each field of the state is called on a page."""


def differences(
    calibrated: StationState,
    measured: StationState,
    words: tuple[str, str] = ("calibrated", "measured"),
) -> tuple[str, ...]:
    """One phrase for each setting or part that differs, `words` before its two values."""
    return tuple(
        f"{word}: {words[0]} {_told(getattr(calibrated, name))},"
        f" {words[1]} {_told(getattr(measured, name))}"
        for name, word in STATE_WORDS.items()
        if getattr(calibrated, name) != getattr(measured, name)
    )


def _told(value: object) -> str:
    if value is None or value == ():
        return "none"
    if isinstance(value, tuple):
        return ", ".join(str(part) for part in value)
    return f"{value:g}" if isinstance(value, float) else str(value)
