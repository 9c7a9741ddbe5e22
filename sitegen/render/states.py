"""The state of the RF path as columns and cells of a table."""

from sitegen.model.station_state import SETTINGS, STATE_WORDS, StationState
from sitegen.render.phrases import NOT_STATED, capital, figure_of, stated
from sitegen.render.pieces import Cell, Column, Fact

_UNITS = {"source_power_dbm": "dBm", "attenuator_db": "dB", "if_bandwidth_hz": "Hz"}

STATE_COLUMNS = tuple(
    Column(capital(word) + (f" / {_UNITS[name]}" if name in _UNITS else ""), name in _UNITS)
    for name, word in STATE_WORDS.items()
)


def state_cells(state: StationState) -> tuple[Cell, ...]:
    """Cells under `STATE_COLUMNS`."""
    return tuple(
        Cell(_told(name, getattr(state, name)), "", name in SETTINGS) for name in STATE_WORDS
    )


def state_facts(state: StationState) -> tuple[Fact, ...]:
    """The same as terms with what stands for them."""
    return tuple(
        Fact(
            capital(word),
            stated(value, _UNITS[name])
            if name in SETTINGS and (value := getattr(state, name)) is not None
            else _told(name, getattr(state, name)),
        )
        for name, word in STATE_WORDS.items()
    )


def _told(name: str, value: object) -> str:
    if value is None and name in SETTINGS:
        return NOT_STATED
    if value is None or value == ():
        return "none"
    if isinstance(value, tuple):
        return ", ".join(str(part) for part in value)
    return figure_of(value) if isinstance(value, float) else str(value)
