"""Sweeps of a device whose ports look exchanged beside the other sweeps of it."""

from collections.abc import Sequence

import numpy as np

from sitegen.model.arrays import BoolArray, ComplexArray, FloatArray

FEWEST = 5
"""From fewer sweeps of a device and condition nothing is inferred about one of them."""
ONE_WAY_DB = 6.0
"""A device passes one way only where |S21| and |S12| differ by more than this (a factor of two):
far beyond what the two directions of a reciprocal device differ by before correction."""
MOST = 0.8
"""Of the sweeps that pass one way, the share that must pass the same way before one that passes the
other is odd; dead devices pass neither."""
_TINY = 1e-12


def exchanged_ports(s: ComplexArray) -> BoolArray:
    """Which sweeps of one device and condition look like the others with their ports exchanged.

    s: shape (n, n_freq, 2, 2). A sweep is odd where most pass one way by `ONE_WAY_DB`, it passes
    the other way by as much, and all its parameters lie nearer to the others' median once its
    ports are exchanged.
    """
    n = len(s)
    none = np.zeros(n, np.bool_)
    if n < FEWEST or s.shape[1] == 0 or not np.isfinite(s).all():
        return none
    forward, reverse = np.abs(s[:, :, 1, 0]) + _TINY, np.abs(s[:, :, 0, 1]) + _TINY
    one_way_db = np.mean(20.0 * np.log10(forward / reverse), axis=1)
    usual = np.sign(np.median(one_way_db))
    passes = usual * one_way_db > ONE_WAY_DB
    odd = usual * one_way_db < -ONE_WAY_DB
    if not odd.any() or passes.sum() < max(FEWEST - 1, MOST * (passes | odd).sum()):
        return none
    typical = _median(s[passes])
    swapped = s[:, :, ::-1, ::-1]
    transmission, reflection = (((1, 0), (0, 1)), ((0, 0), (1, 1)))
    for entries in (transmission, reflection):
        odd &= _distance(swapped, typical, entries) < _distance(s, typical, entries)
    return np.asarray(odd, np.bool_)


def _median(s: ComplexArray) -> ComplexArray:
    return np.asarray(np.median(s.real, axis=0) + 1j * np.median(s.imag, axis=0))


def _distance(
    s: ComplexArray, typical: ComplexArray, entries: Sequence[tuple[int, int]]
) -> FloatArray:
    parts = [np.sum(np.abs(s[:, :, i, j] - typical[:, i, j]) ** 2, axis=1) for i, j in entries]
    return np.asarray(np.sum(parts, axis=0))
