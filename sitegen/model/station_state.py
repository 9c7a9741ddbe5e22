"""The state of the RF path: what must be equal for a calibration to hold for a sweep."""

from pydantic import Field

from sitegen.model.base import Identifier, Positive, Record


class StationState(Record):
    """Settings and parts of the RF path at the time of a sweep.

    Two states that both leave a setting out are taken as equal in it; one that states it and one
    that does not differ.
    """

    source_power_dbm: float | None = Field(
        default=None, description="without its attenuator, in dBm; none: not stated"
    )
    attenuator_db: float | None = Field(default=None, description="in dB; none: not stated")
    if_bandwidth_hz: Positive | None = Field(default=None, description="in Hz; none: not stated")
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
SETTINGS = ("source_power_dbm", "attenuator_db", "if_bandwidth_hz")
"""Numbers that may be left out: then they are not stated, while a part that is left out is none."""


def differences(
    calibrated: StationState,
    measured: StationState,
    words: tuple[str, str] = ("calibrated", "measured"),
) -> tuple[str, ...]:
    """One phrase for each setting or part that differs, `words` before its two values."""
    return tuple(
        f"{word}: {words[0]} {_told(name, getattr(calibrated, name))},"
        f" {words[1]} {_told(name, getattr(measured, name))}"
        for name, word in STATE_WORDS.items()
        if getattr(calibrated, name) != getattr(measured, name)
    )


def _told(name: str, value: object) -> str:
    if value is None and name in SETTINGS:
        return "not stated"
    if value is None or value == ():
        return "none"
    if isinstance(value, tuple):
        return ", ".join(str(part) for part in value)
    return f"{value:g}" if isinstance(value, float) else str(value)
