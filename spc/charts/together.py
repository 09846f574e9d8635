"""Several features watched together: T-squared and its weighted average, for values that move together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.charts.classical import Panel, make_panel
from spc.errors import LARGEST, SpcError, TooFewReadings
from spc.shown import Shown

Array = NDArray[np.floating]


@dataclass(frozen=True)
class Reference(Shown):
    """Mean and covariance that later parts are held against.

    Attributes
    ----------
    mean : array, shape (p,)
    covariance : array, shape (p, p)
    n : int
        Parts they were learned from.
    """

    mean: Array
    covariance: Array
    n: int


@dataclass(frozen=True)
class TogetherChart(Shown):
    """T-squared of each part.

    Attributes
    ----------
    panel : Panel
        Its lower limit is 0. [-]
    reference : Reference
    contributions : array, shape (n, p)
        How much each feature adds to T-squared given the other features; what to look at first when it is
        large. [-]
    """

    panel: Panel
    reference: Reference
    contributions: Array


def learn_reference(readings: ArrayLike) -> Reference:
    """Mean vector and covariance matrix (n - 1) of several features.

    Parameters
    ----------
    readings : array-like, shape (n, p)
        One row a part; none missing. n at least p + 2. [any units]

    Returns
    -------
    Reference

    Raises
    ------
    TooFewReadings
        Fewer than p + 2 parts.
    SpcError
        A reading is missing, or one feature follows from the others exactly (or does not move).
    """
    y = _rows(readings)
    n, p = y.shape
    if n < p + 2:
        raise TooFewReadings(f"a covariance of {p} features", f"{p + 2} parts", n)
    start = y[0]
    mean = start + (y - start).mean(axis=0)
    away = y - mean
    covariance = away.T @ away / (n - 1)
    sd = np.sqrt(np.diag(covariance))
    if not (sd > 1e-13 * np.maximum(np.abs(y).max(axis=0), 1e-300)).all():
        raise SpcError(f"feature {int(np.argmin(sd)) + 1} of {p} does not move: leave it out")
    if np.linalg.cond(covariance / np.outer(sd, sd)) > 1e12:
        raise SpcError("one feature follows from the others exactly: leave it out")
    return Reference(mean, covariance, n)


def t_squared(
    readings: ArrayLike, reference: Reference | None = None, *, false_alarm: float = 0.0027
) -> TogetherChart:
    """Hotelling's T-squared of single parts.

    Without a reference the parts are judged by their own mean and covariance, with the limit of the beta law
    that this takes; with one, later parts are judged with the limit of the F law.

    Parameters
    ----------
    readings : array-like, shape (n, p)
        One row a part; none missing. [any units]
    reference : Reference, optional
        From earlier parts.
    false_alarm : float
        Chance that one part alarms, within 0 and 1; the default is that of three sigma limits.

    Returns
    -------
    TogetherChart

    Raises
    ------
    TooFewReadings, SpcError
        As `learn_reference`; the features differ in number from the reference; the chance is out of range.

    References
    ----------
    .. [1] Tracy, N. D., Young, J. C. & Mason, R. L. (1992), Journal of Quality Technology 24, 88-95 (beta and F
       limits); Mason, R. L., Tracy, N. D. & Young, J. C. (1995), ibid. 27, 99-108 (conditional terms); from
       memory.
    """
    from scipy.special import betaincinv, fdtri

    if not 0 < false_alarm < 1:
        raise SpcError(f"the chance of a false alarm lies within 0 and 1; got {false_alarm}")
    y = _rows(readings)
    own = reference is None
    known = learn_reference(y) if reference is None else reference
    n, p = known.n, known.mean.size
    _same_features(y, p)
    inverse = np.linalg.inv(known.covariance)
    away = y - known.mean
    weighted = away @ inverse
    statistic = np.sum(weighted * away, axis=1)
    if own:
        limit = (n - 1) ** 2 / n * float(betaincinv(p / 2, (n - p - 1) / 2, 1 - false_alarm))
    else:
        limit = p * (n + 1) * (n - 1) / (n * (n - p)) * float(fdtri(p, n - p, 1 - false_alarm))
    return TogetherChart(
        make_panel("T-squared", statistic, float(p), 0.0, limit), known, weighted**2 / np.diag(inverse)
    )


def weighted_t_squared(
    readings: ArrayLike, reference: Reference, *, weight: float = 0.1, limit: float
) -> Panel:
    """T-squared of exponentially weighted averages: small moves of several features that go on.

    Parameters
    ----------
    readings : array-like, shape (n, p)
        In order of machining. [any units]
    reference : Reference
    weight : float
        Of the newest part, above 0 and up to 1.
    limit : float
        Above 0; 8.66 gives an in-control run length of about 200 with two features and weight 0.1. [-]

    Returns
    -------
    Panel

    Raises
    ------
    SpcError
        A reading is missing, features differ in number, or weight or limit is out of range.

    References
    ----------
    .. [1] Lowry, C. A., Woodall, W. H., Champ, C. W. & Rigdon, S. E. (1992), Technometrics 34, 46-53 (from
       memory; NIST/SEMATECH e-Handbook 6.3.4.3 in the tests).
    """
    from scipy.signal import lfilter

    y = _rows(readings)
    _same_features(y, reference.mean.size)
    if not 0 < weight <= 1:
        raise SpcError(f"the weight of the newest part lies above 0 and up to 1; got {weight}")
    if not limit > 0:
        raise SpcError(f"the limit lies above 0; got {limit}")
    smoothed = np.asarray(lfilter([weight], [1.0, weight - 1.0], y - reference.mean, axis=0))
    grown = weight / (2 - weight) * (1 - (1 - weight) ** (2 * np.arange(1, y.shape[0] + 1)))
    inverse = np.linalg.inv(reference.covariance)
    statistic = np.sum((smoothed @ inverse) * smoothed, axis=1) / grown
    return make_panel("weighted T-squared", statistic, float(reference.mean.size), 0.0, limit)


def _rows(readings: ArrayLike) -> Array:
    y = np.asarray(readings, dtype=float)
    if y.ndim != 2 or y.shape[0] < 1:
        raise SpcError(f"features watched together need a table of parts by features; got shape {y.shape}")
    bad = np.argwhere(~(np.abs(y) <= LARGEST))
    if bad.size:
        raise SpcError(f"part {bad[0][0] + 1} lacks feature {bad[0][1] + 1}: T-squared needs them all")
    return y


def _same_features(y: Array, p: int) -> None:
    if y.shape[1] != p:
        raise SpcError(f"the reference knows {p} features; got {y.shape[1]}")
