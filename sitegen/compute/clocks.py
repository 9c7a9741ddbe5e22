"""Times of several clocks on one scale: reference time, and how sure an order is.

All times are compared as reference time: the time stamped by an instrument less its clock's
offset (clock_offset_s = clock minus reference). Times are numpy datetime64[us] in UTC.
"""

from datetime import UTC, datetime, timedelta

import numpy as np
import numpy.typing as npt

from sitegen.model.campaign import Instrument, Station

Times = npt.NDArray[np.datetime64]

NEVER_SURE = np.timedelta64(1000 * 365 * 86_400_000_000, "us")
"""A margin that no two moments of a campaign exceed."""
CLOCK_COVERAGE = 2.0
"""Two moments are told apart when they differ by more than this many standard uncertainties."""


def reference_time(stamped: datetime, instrument: Instrument) -> datetime:
    """The stamped time less the offset of the instrument's clock, in UTC."""
    return (stamped - timedelta(seconds=instrument.clock_offset_s or 0.0)).astimezone(UTC)


def reference_times(stamped: Times, instrument: Instrument | None) -> Times:
    """Stamped times less the offset of the instrument's clock; as they are without one."""
    offset_s = 0.0 if instrument is None else instrument.clock_offset_s or 0.0
    return np.asarray(stamped - np.timedelta64(round(offset_s * 1e6), "us"))


def instant(moment: datetime) -> np.datetime64:
    """A moment with a zone on the scale of `Times`."""
    return np.datetime64(moment.astimezone(UTC).replace(tzinfo=None), "us")


def clock_margin(mine: Instrument | None, other: Instrument | None) -> np.timedelta64:
    """Within this distance the order of two moments is not known; the same clock is always sure.

    Of another clock whose offset and its uncertainty are not both stated no order is known.
    """
    if mine is None or other is None or mine.id == other.id:
        return np.timedelta64(0, "us")
    if not _is_known(mine) or not _is_known(other):
        return NEVER_SURE
    u_s = float(np.hypot(mine.clock_offset_u_s or 0.0, other.clock_offset_u_s or 0.0))
    return np.timedelta64(round(CLOCK_COVERAGE * u_s * 1e6), "us")


def _is_known(clock: Instrument) -> bool:
    return clock.clock_offset_s is not None and clock.clock_offset_u_s is not None


def margin_to(other: str, station: Station, instrument: Instrument | None) -> np.timedelta64:
    """The margin between an instrument\'s clock and that of another of the station, by its id."""
    clocks = {one.id: one for one in station.instruments}
    return clock_margin(instrument, clocks.get(other))
