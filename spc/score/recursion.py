"""Recursive residuals: how far each part is from what the parts before it led one to expect."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri, stdtr

from spc.process import Bools, Floats

# A prediction this many times as variable as a part rests on columns that are not estimable yet. Above what the
# averages over groups take for believable, and below what a flat prior leaves open on the second part of a life.
NOT_ESTIMABLE = 5e3
LARGEST_SCORE = 37.0


def level_residuals(
    value: Floats, noise: Floats, learn: Bools, weight: float = 0.0, mean: float = 0.0
) -> tuple[Floats, Floats]:
    """Expected value of each part when there is nothing but a level.

    Parameters
    ----------
    value
        (b,) values in order; NaN is passed over.
    noise
        (b,) their variances, relative.
    learn
        (b,) whether later parts learn from the value.
    weight, mean
        Sum of 1/noise of the parts before the first, and their weighted mean.

    Returns
    -------
    expected, variance
        (b,) prediction from the parts before, NaN without any; and the variance of the prediction error
        in units of the variance of a part, noise included.

    Notes
    -----
    Recursive least squares with an intercept (Brown, Durbin and Evans 1975): variance = noise + 1 / sum
    of the earlier 1 / noise.
    """
    used = learn & np.isfinite(value)
    gain = np.where(used, 1.0 / noise, 0.0)
    centred = np.where(used, value - mean, 0.0) if weight > 0 else value
    origin = mean
    if weight <= 0:
        known = np.flatnonzero(used)
        origin = float(value[known[0]]) if known.size else 0.0
        centred = np.where(used, value - origin, 0.0)
    total = np.concatenate([[weight], weight + np.cumsum(gain)])[:-1]
    moved = np.concatenate([[0.0], np.cumsum(gain * centred)])[:-1]
    known_any = total > 0
    safe = np.where(known_any, total, 1.0)
    expected = np.where(known_any, origin + moved / safe, np.nan)
    return expected, np.where(known_any, noise + 1.0 / safe, np.nan)


def model_residuals(
    value: Floats,
    design: Floats,
    noise: Floats,
    learn: Bools,
    mean: Floats,
    covariance: Floats,
    afresh: tuple[Bools, Floats] | None = None,
    exact: bool = False,
) -> tuple[Floats, Floats]:
    """Expected value of each part under several linear models at once, part after part.

    Parameters
    ----------
    value, design, noise, learn
        (b,) values in order, (b, q) rows, (b,) relative variances, (b,) whether later parts learn from the value.
    mean, covariance
        (K, q) and (K, q, q) what each model knew of the coefficients.
    afresh
        (b,) parts at which the last coefficients are drawn anew, independent of all before, and (K, m) their
        variances with m of them; None when nothing is.
    exact
        Calculate with the widest floats there are: from a flat prior over several columns the first parts lose most
        digits of the usual ones.

    Returns
    -------
    expected, variance
        (b, K) as for `level_residuals`; NaN where a row is not estimable yet.

    Notes
    -----
    Recursive least squares (Kalman 1960, with coefficients that stand still; from memory). For some hundred parts
    this is faster than one factorisation for each model, as the models share every step.
    """
    kind = np.longdouble if exact else np.float64
    state, spread = mean.astype(kind), covariance.astype(kind)
    expected = np.empty((value.size, len(mean)))
    variance = np.empty_like(expected)
    used = (learn & np.isfinite(value)).tolist()
    opens = afresh[0].tolist() if afresh is not None else [False] * value.size
    for part, row in enumerate(design):
        if opens[part] and afresh is not None:
            drawn = np.arange(row.size - afresh[1].shape[1], row.size)
            spread[:, drawn, :] = 0.0
            spread[:, :, drawn] = 0.0
            spread[:, drawn, drawn] = afresh[1]
            state[:, drawn] = 0.0
        reach = spread @ row
        guess = state @ row
        width = reach @ row + noise[part]
        expected[part], variance[part] = guess, width
        if used[part]:
            gain = reach / width[:, None]
            state += gain * (value[part] - guess)[:, None]
            spread -= gain[:, :, None] * reach[:, None, :]
    # A variance below the noise has lost its digits.
    estimable = (variance < NOT_ESTIMABLE * noise[:, None]) & (variance > 0.9 * noise[:, None])
    return np.where(estimable, expected, np.nan), np.where(estimable, variance, np.nan)


def normal_scores(residual: Floats, sd: Floats, freedom: Floats) -> Floats:
    """Scores that are standard normal when nothing changed.

    Parameters
    ----------
    residual
        Standardised recursive residuals.
    sd, freedom
        Their standard deviation as the earlier ones show it, and its degrees of freedom.

    Returns
    -------
    ndarray
        PhiInv(T(residual / sd)) with T of Student; NaN below 1 degree of freedom or with sd 0. At most
        37 in size.

    Notes
    -----
    Hawkins 1987; Quesenberry 1991 (from memory). Exact for independent normal values.
    """
    usable = np.isfinite(residual) & (freedom >= 1) & (sd > 0)
    ratio = np.where(usable, residual / np.where(usable, sd, 1.0), 0.0)
    tail = stdtr(np.where(usable, freedom, 1.0), -np.abs(ratio))
    size = np.minimum(-ndtri(np.maximum(tail, 1e-300)), LARGEST_SCORE)
    return np.where(usable, np.sign(ratio) * size, np.nan)
