"""Tool lives: random level and slope, what finished lives teach, and a life longer than believable."""

from __future__ import annotations

import math

import numpy as np
from scipy.special import chdtri, stdtr, stdtrit

from spc.process import Bools, Floats, Ints

# Finished lives without a signal that are needed before lives teach one another.
FEWEST = 4
# The spread between lives is averaged over its values at these chances of a smaller one, with these beliefs: the
# middles of the stretches of probability 0 to 0.05, to 0.2, 0.4 ... 1. Taken at one value it makes scores that are
# too large in every life when that is too small, and too small when it is too large.
CHANCES = np.array([0.02, 0.1, 0.3, 0.5, 0.7, 0.9])
BELIEFS = np.array([0.05, 0.15, 0.2, 0.2, 0.2, 0.2])
# Families with recursions of their own see the same tool; their scores of one life lean the same way, and sums over
# them run away. There the level is watched at this one of the believable spreads, a large one.
CAUTIOUS = 1
# "Nothing known" as a variance, in units of the variance of a part.
DIFFUSE = 1e9
# Finished lives that are needed to say how long a life usually is.
_FEWEST_LENGTHS = 3
# Logarithm beyond which a bound says nothing.
_FARTHEST = 50.0


def wear_columns(wear: Floats, life_length: float | None, reached: float = 1.0) -> tuple[Floats, Floats]:
    """Columns of the wear model: common to all lives, and of the single life.

    Parameters
    ----------
    wear
        (n,) uses of the tool before each part.
    life_length
        Usual length of a life, None before any life has finished.
    reached
        Uses that stand for the length until then.

    Returns
    -------
    common : ndarray
        (n, 3) slope, bend and break-in exp(-10 wear / length); (n, 2) slope and break-in without a finished life:
        without a break-in a first life that begins like any other looks like a shift (4.5 times as many alarms as
        granted, by simulation), and a bend guessed from the start of an endless one runs away.
    own : ndarray
        (n, 2) level and slope of the life.
    """
    scale = life_length if life_length else max(reached, 1.0)
    share = wear / scale
    own = np.column_stack([np.ones_like(share), share])
    settling = np.exp(-10.0 * share)
    if not life_length:
        return np.column_stack([share, settling]), own
    return np.column_stack([share, share**2, settling]), own


def moments(columns: Floats, noise: Floats, group: Ints) -> tuple[Ints, Ints, Floats]:
    """Weighted cross products of the columns by group: group labels, sizes and (J, m, m) products."""
    order = np.argsort(group, kind="stable")
    labels, starts, sizes = np.unique(group[order], return_index=True, return_counts=True)
    rows = columns[order]
    products = rows[:, :, None] * rows[:, None, :] / noise[order][:, None, None]
    return labels, sizes, np.add.reduceat(products, starts, axis=0)


def spread_of_lives(products: Floats, sizes: Ints, own: int) -> Floats | None:
    """Covariances of the random level and slope of finished lives, in units of the variance of a part.

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
        (K, own, own) believable covariances, largest first, one for each of CHANCES; None with fewer than 4 lives
        that can be fitted.

    Notes
    -----
    Each life is fitted by least squares, the common columns shared; the covariance of the fits, times
    (J - 1) / chi-square(chance, J - own), less the mean sampling covariance, negative parts set to zero. With
    J - own degrees of freedom the average over the chances is the Student distribution that predicts the next
    fit (standard for a normal sample of vectors, from memory).
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
    # chdtri takes the chance of a larger one.
    seen = centred.T @ centred / chdtri(lives - own, 1.0 - CHANCES)[:, None, None]
    between = seen / variance - inverse.mean(axis=0)
    values, vectors = np.linalg.eigh((between + np.swapaxes(between, 1, 2)) / 2.0)
    return (vectors * np.maximum(values, 1e-6)[:, None, :]) @ np.swapaxes(vectors, 1, 2)


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
        Covariance between lives in units of the variance of a part, (own, own), or (K, own, own) for several to be
        answered one by one; None when every life is on its own.

    Returns
    -------
    mean, covariance
        Of (common, own) coefficients; the covariance in units of the variance of a part. With several spreads,
        stacked along a first axis.

    Notes
    -----
    Generalised least squares with the random effects of the other lives integrated out (Henderson's
    mixed-model equations, from memory); common columns with a flat prior of variance 1e9.
    """
    several = spread is not None and spread.ndim == 3
    cov = (np.eye(own) * DIFFUSE)[None] if spread is None else spread.reshape(-1, own, own)
    information = np.zeros((len(cov), common + own, common + own))
    score = np.zeros((len(cov), common + own))
    if len(products):
        a_zz, a_zw = products[:, :own, :own], products[:, :own, own:]
        each = np.broadcast_to(cov[:, None], (len(cov), *a_zz.shape))
        shrink = np.linalg.solve(np.eye(own) + cov[:, None] @ a_zz, each)
        left = products[:, own:, own:].sum(axis=0) - (np.swapaxes(a_zw, 1, 2) @ shrink @ a_zw).sum(axis=1)
        # Directions that every life spans by itself hold rounding noise only; they carry no information.
        size = np.sqrt(np.maximum(np.diag(products[:, own:-1, own:-1].sum(axis=0)), 1e-300))
        roots, vectors = np.linalg.eigh(left[:, :-1, :-1] / np.outer(size, size))
        kept = roots > 1e-7
        turned = np.swapaxes(vectors, 1, 2)
        information[:, :common, :common] = (
            (vectors * np.where(kept, roots, 0.0)[:, None, :]) @ turned * np.outer(size, size)
        )
        projected = (vectors * kept[:, None, :]) @ turned
        score[:, :common] = np.einsum("kab,kb->ka", projected, left[:, :-1, -1] / size) * size
    information[:, :common, :common] += np.eye(common) / DIFFUSE
    # When every life is on its own, the common columns hold all of what the current one may be: own ones beside them
    # would say the same twice, and the arithmetic would suffer.
    information[:, common:, common:] = np.eye(own) * DIFFUSE if spread is None else np.linalg.inv(cov)
    if current is not None:
        information[:, :common, :common] += current[own:-1, own:-1]
        information[:, common:, common:] += current[:own, :own]
        information[:, :common, common:] += current[own:-1, :own]
        information[:, common:, :common] += current[:own, own:-1]
        score[:, :common] += current[own:-1, -1]
        score[:, common:] += current[:own, -1]
    information = (information + np.swapaxes(information, 1, 2)) / 2.0
    size = 1.0 / np.sqrt(np.einsum("kaa->ka", information))
    outer = size[:, :, None] * size[:, None, :]
    covariance = np.linalg.inv(information * outer) * outer
    covariance = (covariance + np.swapaxes(covariance, 1, 2)) / 2.0
    mean = np.einsum("kab,kb->ka", covariance, score)
    return (mean, covariance) if several else (mean[0], covariance[0])


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
