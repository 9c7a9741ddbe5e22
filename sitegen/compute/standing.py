"""Values with standing, and how it is taken from them once their evidence has been joined."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from sitegen.compute.evidence import REASON_CODES
from sitegen.model.arrays import BoolArray


def bit_of(reason: str) -> int:
    """The bit of a reason from the closed list in a row's `ev_reasons`."""
    return 1 << REASON_CODES.index(reason)


def without_standing(
    values: pd.DataFrame, reason: str, where: BoolArray, phrases: Sequence[str]
) -> pd.DataFrame:
    """The values with one more reason against those marked.

    values: with the columns ev_reasons, ev_detail, ev_not_closed and ev_never_verified, n rows;
    where: (n,); phrases: particulars, one for each marked row in order. A value without standing
    is not counted among those not closed.
    """
    if not where.any():
        return values
    bits = values["ev_reasons"].to_numpy(dtype=np.int64).copy()
    bits[where] |= bit_of(reason)
    detail = values["ev_detail"].to_numpy(dtype=object).copy()
    detail[where] = [
        "; ".join(part for part in (told, f"{reason}: {phrase}") if part)
        for told, phrase in zip(detail[where], phrases, strict=True)
    ]
    open_ = {
        name: values[name].to_numpy(dtype=bool) & ~where
        for name in ("ev_not_closed", "ev_never_verified")
    }
    return values.assign(ev_reasons=bits, ev_detail=detail, **open_)


def that_stand(results: pd.DataFrame) -> pd.DataFrame:
    """Rows of `RESULT_COLUMNS` with a value that counts and has standing."""
    return results[results["counts"].eq(True) & _stands(results)]


def numbers_that_stand(results: pd.DataFrame) -> pd.DataFrame:
    """Likewise, without those that are only known to lie below the floor or beyond what was
    reached."""
    return _numbers(that_stand(results))


def touchdowns_that_stand(results: pd.DataFrame) -> pd.DataFrame:
    """Rows of single touchdowns, whichever counts, with standing and a number."""
    return _numbers(results[(results["touchdown"] > 0) & _stands(results)])


def _stands(results: pd.DataFrame) -> "pd.Series[bool]":
    return results["standing"].isin(["stands", "not closed"]) & results["value"].notna()


def _numbers(valid: pd.DataFrame) -> pd.DataFrame:
    return valid[~valid["below_floor"].eq(True) & ~valid["not_reached"].eq(True)]
