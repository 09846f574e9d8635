"""Run lengths of exponentially weighted averages of independent standard normal scores, computed."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from scipy.special import ndtr, ndtri

from spc.errors import SpcError
from spc.process import Floats

# A score beyond +-9 has probability 1e-19: the integrals stop there when scores are not clipped.
_BEYOND = 9.0
_NODES = 48
_LONGEST = 1e15


def ewma_run_length(
    weight: float,
    limit: float,
    *,
    shift: float = 0.0,
    upper_only: bool = False,
    clip: float = math.inf,
) -> float:
    """Average run length of an EWMA chart, from a start at its centre.

    The average is e = weight * score + (1 - weight) * e, not reflected, and signals when it leaves the
    limits.

    Parameters
    ----------
    weight
        Weight of the newest score, in (0, 1].
    limit
        Half width of the limits in asymptotic standard deviations of the average,
        sqrt(weight / (2 - weight)); positive.
    shift
        Mean of the scores, in their standard deviations.
    upper_only
        Signal above the upper limit only.
    clip
        Scores are held within +-clip; infinite by default.

    Returns
    -------
    float
        Average number of scores up to and with the signal; at most 1e15.

    Raises
    ------
    SpcError
        For a weight outside (0, 1] or a limit or clip that is not positive.

    Notes
    -----
    The integral equation L(u) = 1 + E[L((1 - weight) u + weight x)] of Crowder (1987) is solved by
    collocation on Chebyshev nodes, every expectation by Gauss-Legendre quadrature (from memory; checked
    against the tables of Lucas and Saccucci, Technometrics 32, 1990, 1-12).
    """
    if not 0.0 < weight <= 1.0:
        raise SpcError(f"weight of an EWMA must be above 0 and at most 1, got {weight}")
    if not limit > 0.0:
        raise SpcError(f"limit of an EWMA must be positive, got {limit}")
    if not clip > 0.0:
        raise SpcError(f"clip of the scores must be positive, got {clip}")
    sd = math.sqrt(weight / (2.0 - weight))
    upper = limit * sd
    lower = -upper
    if upper_only:
        # Without a lower limit the average hardly ever falls eight standard deviations; below that it
        # is treated as standing there.
        lower = min(shift, 0.0) - min(8.0 * sd, clip)
    nodes = np.cos((2 * np.arange(_NODES) + 1) * math.pi / (2 * _NODES))
    place = lower + (upper - lower) * (nodes + 1.0) / 2.0
    carried = (1.0 - weight) * place
    low = np.maximum((lower - carried) / weight, -clip)
    high = np.minimum((upper - carried) / weight, clip)
    bottom = np.clip(low, shift - _BEYOND, shift + _BEYOND)
    top = np.clip(high, shift - _BEYOND, shift + _BEYOND)
    abscissa, quadrature = np.polynomial.legendre.leggauss(_NODES)
    half = (top - bottom) / 2.0
    x = (top + bottom)[:, None] / 2.0 + half[:, None] * abscissa[None, :]
    density = np.exp(-0.5 * (x - shift) ** 2) / math.sqrt(2.0 * math.pi)
    mass = half[:, None] * quadrature[None, :] * density
    landing = carried[:, None] + weight * x
    kernel = np.einsum("ij,ijk->ik", mass, _interpolation(nodes, landing, lower, upper))
    if math.isfinite(clip):
        # The clipped scores sit at +-clip as point masses, where the average may still be inside.
        for bound, chance in ((clip, ndtr(shift - clip)), (-clip, ndtr(-clip - shift))):
            spot = carried + weight * bound
            inside = (spot < upper) & (spot >= lower)
            if inside.any():
                kernel[inside] += chance * _interpolation(nodes, spot[inside], lower, upper)
    if upper_only:
        # Everything below the lower end counts as the lower end.
        below = np.where(low <= -clip, 0.0, ndtr(low - shift))
        kernel += below[:, None] * _interpolation(nodes, np.array(lower), lower, upper)
    try:
        solution = np.linalg.solve(np.eye(_NODES) - kernel, np.ones(_NODES))
    except np.linalg.LinAlgError:
        return _LONGEST
    answer = float(_interpolation(nodes, np.array(0.0), lower, upper) @ solution)
    return min(answer, _LONGEST) if answer >= 1.0 else _LONGEST


def _interpolation(nodes: Floats, points: Floats, lower: float, upper: float) -> Floats:
    """Weights that carry values at Chebyshev nodes to other points (barycentric formula)."""
    scaled = 2.0 * (np.asarray(points)[..., None] - lower) / (upper - lower) - 1.0
    count = nodes.size
    bary = (-1.0) ** np.arange(count) * np.sin((2 * np.arange(count) + 1) * math.pi / (2 * count))
    gap = scaled - nodes
    hit = np.abs(gap) < 1e-14
    ratio = bary / np.where(hit, 1.0, gap)
    weights = ratio / ratio.sum(axis=-1, keepdims=True)
    return np.where(hit.any(axis=-1, keepdims=True), hit.astype(float), weights)


@lru_cache(maxsize=32)
def _curve(weight: float, clip: float) -> tuple[Floats, Floats]:
    """Limits and the logarithms of their run lengths for the upper EWMA of clipped scores."""
    limits = np.arange(0.25, 6.01, 0.25)
    lengths = np.array([ewma_run_length(weight, h, upper_only=True, clip=clip) for h in limits])
    # Beyond about 1e12 the linear system is singular to machine precision; the curve stops before it.
    good = (lengths < 1e12) & (np.maximum.accumulate(lengths) <= lengths)
    stop = int(np.argmin(good)) if not good.all() else good.size
    return limits[:stop], np.log(lengths[:stop])


def upper_ewma_limit(weight: float, run_length: Floats, clip: float) -> Floats:
    """Upper limit, in standard deviations of the average, that gives each in-control run length.

    Parameters
    ----------
    weight, clip
        As for `ewma_run_length`.
    run_length
        In-control run lengths, any shape, more than 1.

    Returns
    -------
    ndarray
        Limits; interpolated between computed points of the curve of log run length (error in the run
        length below 1 %), continued along its last slope.
    """
    limits, logs = _curve(weight, clip)
    return _through(np.log(np.asarray(run_length, float)), logs, limits)


def upper_ewma_run_length(weight: float, limit: Floats, clip: float) -> Floats:
    """In-control run length of an upper EWMA whose limit equals each value; at least 1, at most 1e15.

    Parameters
    ----------
    weight, clip
        As for `ewma_run_length`.
    limit
        Limits in standard deviations of the average, any shape.

    Returns
    -------
    ndarray
        Run lengths, the inverse of `upper_ewma_limit`.
    """
    limits, logs = _curve(weight, clip)
    return np.exp(np.clip(_through(np.asarray(limit, float), limits, logs), 0.0, math.log(_LONGEST)))


def _through(at: Floats, x: Floats, y: Floats) -> Floats:
    """Broken line through (x, y), continued along the slopes at its ends."""
    first = (y[1] - y[0]) / (x[1] - x[0])
    last = (y[-1] - y[-2]) / (x[-1] - x[-2])
    return np.interp(at, x, y) + np.minimum(at - x[0], 0.0) * first + np.maximum(at - x[-1], 0.0) * last


def single_limit(run_length: Floats) -> Floats:
    """Two-sided limit on one standard normal score that it passes once in run_length scores."""
    return -ndtri(0.5 / np.asarray(run_length, float))
