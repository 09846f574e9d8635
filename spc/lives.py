"""Tool lives: random level and slope, what finished lives teach, and a life longer than believable."""

from __future__ import annotations

import math

import numpy as np
from scipy.special import chdtri, stdtr, stdtrit

from spc.process import Bools, Floats, Ints

# Finished lives without a signal that are needed before lives teach one another.
FEWEST = 4
# Variances between lives are taken at this upper confidence limit: too small ones alarm on normal sets. Lives of
# random slope: the level alarmed 1.8 (families pooled) and 4.9 (apart) times as often as granted with 0.80, 0.9
# and 2.3 with 0.95, 0.8 and 1.1 with 0.98; a glazing tool was found in its life in 0.80, 0.88 and 0.88 of runs.
_CONFIDENCE = 0.98
# "Nothing known" as a variance, in units of the variance of a part.
DIFFUSE = 1e8
# Finished lives that are needed to say how long a life usually is.
_FEWEST_LENGTHS = 3
# Logarithm beyond which a bound says nothing.
_FARTHEST = 50.0


def wear_columns(wear: Floats, life_length: float | None) -> tuple[Floats, Floats]:
    """Columns of the wear model: common to all lives, and of the single life.

    Parameters
    ----------
    wear
        (n,) uses of the tool before each part.
    life_length
        Usual length of a life, None before any life has finished.

    Returns
    -------
    common : ndarray
        (n, 3) slope, bend and break-in exp(-10 wear / length); (n, 0) without a finished life.
    own : ndarray
        (n, 2) level and slope of the life.
    """
    scale = life_length if life_length else max(float(np.max(wear, initial=0.0)), 1.0)
    share = wear / scale
    own = np.column_stack([np.ones_like(share), share])
    if not life_length:
        return np.zeros((wear.size, 0)), own
    return np.column_stack([share, share**2, np.exp(-10.0 * share)]), own


def moments(columns: Floats, noise: Floats, group: Ints) -> tuple[Ints, Ints, Floats]:
    """Weighted cross products of the columns by group: group labels, sizes and (J, m, m) products."""
    order = np.argsort(group, kind="stable")
    labels, starts, sizes = np.unique(group[order], return_index=True, return_counts=True)
    rows = columns[order]
    products = rows[:, :, None] * rows[:, None, :] / noise[order][:, None, None]
    return labels, sizes, np.add.reduceat(products, starts, axis=0)


def spread_of_lives(products: Floats, sizes: Ints, own: int) -> Floats | None:
    """Covariance of the random level and slope of finished lives, in units of the variance of a part.

    Parameters
    ----------
    products
        (J, m, m) cross products of (own columns, common columns, value) of finished lives without signals.
    sizes
        (J,) parts in each life.
    own
        Number of own columns.

    Returns
    -------
    ndarray or None
        (own, own) covariance at its upper 98 % limit; None with fewer than 4 lives that can be fitted.

    Notes
    -----
    Each life is fitted by least squares, the common columns shared; the covariance of the fits, times
    (J - 1) / chi-square(0.02, J - 1), less the mean sampling covariance, negative parts set to zero
    (from memory; the upper limit is there because a variance from few lives may be far too small).
    """
    a_zz = products[:, :own, :own]
    trace = np.trace(a_zz, axis1=1, axis2=2)
    good = (sizes >= own + 2) & (np.linalg.det(a_zz) > 1e-6 * (trace / own) ** own)
    if good.sum() < FEWEST:
        return None
    products, sizes, a_zz = products[good], sizes[good], a_zz[good]
    lives = len(sizes)
    inverse = np.linalg.inv(a_zz)
    a_zw = products[:, :own, own:]
    left = products[:, own:, own:] - np.swapaxes(a_zw, 1, 2) @ inverse @ a_zw
    pooled = left.sum(axis=0)
    q_xx, q_xy = pooled[:-1, :-1], pooled[:-1, -1]
    # Common columns that every life spans by itself (a common level or slope) drop out here.
    size = np.sqrt(np.maximum(np.diag(products[:, own:-1, own:-1].sum(axis=0)), 1e-300))
    roots, vectors = np.linalg.eigh(q_xx / np.outer(size, size))
    kept = roots > 1e-8
    rank = int(kept.sum())
    inverse_roots = np.where(kept, 1.0 / np.where(kept, roots, 1.0), 0.0)
    theta = (vectors * inverse_roots) @ vectors.T @ (q_xy / size) / size
    freedom = int(sizes.sum()) - own * lives - rank
    remainder = float(pooled[-1, -1] - theta @ q_xy)
    if freedom < 1 or remainder <= 0.0:
        return None
    variance = remainder / freedom
    fits = np.einsum("jab,jb->ja", inverse, a_zw[:, :, -1] - a_zw[:, :, :-1] @ theta)
    centred = fits - fits.mean(axis=0)
    seen = centred.T @ centred / float(chdtri(lives - 1, _CONFIDENCE))
    between = seen / variance - inverse.mean(axis=0)
    values, vectors = np.linalg.eigh((between + between.T) / 2.0)
    return (vectors * np.maximum(values, 1e-6)) @ vectors.T


def life_posterior(
    products: Floats, current: Floats | None, common: int, own: int, spread: Floats | None
) -> tuple[Floats, Floats]:
    """What earlier parts say of the common columns and of the current life.

    Parameters
    ----------
    products
        (J, m, m) cross products of (own columns, common columns, value) of the other lives.
    current
        (m, m) cross products of the current life so far, None without any.
    common, own
        Numbers of common and of own columns.
    spread
        Covariance between lives in units of the variance of a part; None when every life is on its own.

    Returns
    -------
    mean, covariance
        Of (common, own) coefficients; the covariance in units of the variance of a part.

    Notes
    -----
    Generalised least squares with the random effects of the other lives integrated out (Henderson's
    mixed-model equations, from memory); common columns with a flat prior of variance 1e8.
    """
    cov = np.eye(own) * DIFFUSE if spread is None else spread
    information = np.zeros((common + own, common + own))
    score = np.zeros(common + own)
    if len(products):
        a_zz, a_zw = products[:, :own, :own], products[:, :own, own:]
        shrink = np.linalg.solve(np.eye(own) + cov @ a_zz, np.broadcast_to(cov, a_zz.shape))
        left = (products[:, own:, own:] - np.swapaxes(a_zw, 1, 2) @ shrink @ a_zw).sum(axis=0)
        # Directions that every life spans by itself hold rounding noise only; they carry no information.
        size = np.sqrt(np.maximum(np.diag(products[:, own:-1, own:-1].sum(axis=0)), 1e-300))
        roots, vectors = np.linalg.eigh(left[:-1, :-1] / np.outer(size, size))
        vectors = vectors[:, roots > 1e-7]
        roots = roots[roots > 1e-7]
        information[:common, :common] = (vectors * roots) @ vectors.T * np.outer(size, size)
        score[:common] = vectors @ (vectors.T @ (left[:-1, -1] / size)) * size
    information[:common, :common] += np.eye(common) / DIFFUSE
    information[common:, common:] = np.linalg.inv(cov)
    if current is not None:
        information[:common, :common] += current[own:-1, own:-1]
        information[common:, common:] += current[:own, :own]
        information[:common, common:] += current[own:-1, :own]
        information[common:, :common] += current[:own, own:-1]
        score[:common] += current[own:-1, -1]
        score[common:] += current[:own, -1]
    information = (information + information.T) / 2.0
    size = 1.0 / np.sqrt(np.diag(information))
    covariance = np.linalg.inv(information * np.outer(size, size)) * np.outer(size, size)
    return covariance @ score, (covariance + covariance.T) / 2.0


def longest_life(lengths: Floats, run_length: float, step: float) -> float:
    """Longest believable life of a tool, after finished ones.

    Parameters
    ----------
    lengths
        Finished lives without signals, in uses, positive.
    run_length
        One life in this many is to pass the bound when nothing changed.
    step
        Uses a part takes: lives are known to within it.

    Returns
    -------
    float
        One-sided prediction bound for the next life; infinite with fewer than 3 lives.

    Notes
    -----
    Student t prediction bound on the logarithm: mean + t sqrt(1 + 1/J) s. Lives under 0.6 of the median
    were ended early for another reason and are left out; s is at least what the step alone makes
    (standard formula, from memory; the 0.6 is common practice, no source).
    """
    logs, spread = _usual_lives(lengths, step)
    if logs.size < _FEWEST_LENGTHS:
        return math.inf
    t = -float(stdtrit(logs.size - 1, 1.0 / run_length))
    bound = float(logs.mean()) + t * math.sqrt(1.0 + 1.0 / logs.size) * spread
    return math.exp(bound) if bound < _FARTHEST else math.inf


def life_run_length(lengths: Floats, uses: float, step: float) -> float:
    """Lives in which one passes this many uses when nothing changed; 1 with fewer than 3 lives."""
    logs, spread = _usual_lives(lengths, step)
    if logs.size < _FEWEST_LENGTHS or uses <= 0.0:
        return 1.0
    t = (math.log(uses) - float(logs.mean())) / (spread * math.sqrt(1.0 + 1.0 / logs.size))
    return 1.0 / max(float(stdtr(logs.size - 1, -t)), 1e-15)


def _usual_lives(lengths: Floats, step: float) -> tuple[Floats, float]:
    """Logarithms of the lives that ran their course, and their standard deviation."""
    lengths = lengths[lengths > 0]
    if lengths.size < _FEWEST_LENGTHS:
        return np.zeros(0), 0.0
    median = float(np.median(lengths))
    logs = np.log(lengths[lengths >= 0.6 * median])
    if logs.size < _FEWEST_LENGTHS:
        return np.zeros(0), 0.0
    return logs, max(float(logs.std(ddof=1)), step / median / math.sqrt(12.0), 1e-6)


def life_lengths(life: Ints, wear: Floats, before: int, clean: Bools) -> tuple[Floats, int]:
    """Lengths of lives finished before a part, without signals, and the number of the current life.

    Parameters
    ----------
    life, wear
        (n,) as in ProcessData.
    before
        Index of the part; its own life is the current one.
    clean
        (n,) False at parts in the reach of a signal; a life with one of them does not count.

    Returns
    -------
    lengths, current
    """
    current = int(life[before])
    rows = np.flatnonzero((life[:before] >= 0) & (life[:before] != current))
    if not rows.size:
        return np.zeros(0), current
    labels, where = np.unique(life[rows], return_inverse=True)
    longest = np.zeros(labels.size)
    np.maximum.at(longest, where, wear[rows])
    dirty = np.bincount(where, weights=~clean[rows], minlength=labels.size) > 0
    return longest[~dirty & (longest > 0)], current
