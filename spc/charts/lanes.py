"""Weighted averages and cumulative sums of many series at once, without a step a point.

What runs along a series cannot be split, but its pieces can run side by side: every series is cut into short
pieces, all pieces advance by one point in one array operation, and what one hands to the next is little.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Ints = NDArray[np.int_]

_PIECE = 16
"""Points a piece: short enough for few steps, long enough that what is handed on is little."""


class Lanes:
    """Room for a block of series cut into pieces, used again for every block of that size.

    Parameters
    ----------
    series, n : int
        Series a block, and points of each.
    """

    def __init__(self, series: int, n: int) -> None:
        self._series, self._n = series, n
        self._number = -(-n // _PIECE)
        shape = (_PIECE, series, self._number)
        self._points, self._own = np.zeros(shape), np.empty(shape)
        self._beyond = np.empty(shape, dtype=bool)

    def take(self, scores: Array) -> None:
        """Cut a block of series into pieces.

        Parameters
        ----------
        scores : array, shape (series, n)
            In order of machining; a series of NaN is beyond no limit. [sigma]
        """
        whole = self._n // _PIECE
        first, rest = scores[:, : whole * _PIECE], scores[:, whole * _PIECE :]
        self._points[:, :, :whole] = first.reshape(self._series, whole, _PIECE).transpose(2, 0, 1)
        if rest.size:
            self._points[: rest.shape[1], :, whole] = rest.T

    def average_out(self, weight: float, bounds: Array) -> Ints:
        """Points at which the weighted average lies beyond its limits.

        Parameters
        ----------
        weight : float
            Of the newest value; above 0, 1 at most.
        bounds : array, shape (n,)
            Half width of the limits at each point. [sigma]

        Returns
        -------
        int array, shape (series,)
        """
        from scipy.signal import lfilter

        keep = 1 - weight
        own, lane = self._own, np.empty(self._own.shape[1:])
        np.multiply(self._points, weight, out=own)
        for before, this in pairwise(own):
            np.add(this, np.multiply(before, keep, out=lane), out=this)
        ends = np.asarray(lfilter([1.0], [1.0, -(keep**_PIECE)], own[-1], axis=1))
        # What a piece starts from fades with every point.
        starts = np.zeros(ends.shape)
        starts[:, 1:] = ends[:, :-1]
        for this in own:
            starts *= keep
            this += starts
        limits = np.full(self._number * _PIECE, np.inf)
        limits[: self._n] = bounds
        np.abs(self._own, out=self._own)
        np.greater(self._own, limits.reshape(-1, _PIECE).T[:, None, :], out=self._beyond)
        return self._by_series()

    def sum_out(self, allowance: float, limit: float) -> Ints:
        """Points at which the upper or the lower cumulative sum lies beyond its limit.

        Parameters
        ----------
        allowance, limit : float
            As `spc.smoothed.cusum_chart`. [sigma]

        Returns
        -------
        int array, shape (series,)
        """
        upper, above = self._reached(np.add, 1.0, allowance, limit)
        lower, below = self._reached(np.subtract, -1.0, allowance, limit)
        lanes = np.flatnonzero(above | below)
        high, low = upper.ravel()[lanes], lower.ravel()[lanes]
        last = lanes % self._number == self._number - 1
        found = np.zeros(lanes.size)
        for at, row in enumerate(self._points.reshape(_PIECE, -1)[:, lanes]):
            high, low = np.maximum(high + row - allowance, 0.0), np.maximum(low - row - allowance, 0.0)
            beyond = (high > limit) | (low > limit)
            # The last piece of a series is filled up.
            found += beyond & ~last if (self._number - 1) * _PIECE + at >= self._n else beyond
        return np.bincount(lanes // self._number, found, minlength=self._series).astype(int)

    def _reached(
        self, step: np.ufunc, sign: float, allowance: float, limit: float
    ) -> tuple[Array, NDArray[np.bool_]]:
        """Where the sum that never falls below 0 stands at the start of each piece, and which may pass the limit."""
        now, top = np.zeros(self._points.shape[1:]), np.zeros(self._points.shape[1:])
        for row in self._points:
            step(now, row, out=now)
            np.subtract(now, allowance, out=now)
            np.maximum(now, 0.0, out=now)
            np.maximum(top, now, out=top)
        # From a start s a piece ends at the larger of its own sum from 0 and s + all its steps, and it never lies
        # higher than s above its own sum.
        whole = np.cumsum(sign * self._points.sum(axis=0) - _PIECE * allowance, axis=1)
        ends = whole + np.maximum.accumulate(now - whole, axis=1)
        starts = np.zeros(ends.shape)
        starts[:, 1:] = ends[:, :-1]
        return starts, starts + top > limit

    def _by_series(self) -> Ints:
        at = np.flatnonzero(self._beyond)
        return np.bincount(at // self._number % self._series, minlength=self._series)
