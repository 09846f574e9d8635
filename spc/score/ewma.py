"""Run lengths of exponentially weighted averages of independent standard normal scores, computed."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
from scipy.special import ndtr, ndtri

from spc.errors import SpcError
from spc.process import Floats

# A score beyond +-9 has probability 1e-19: the integrals stop there when scores are not clipped.
_BEYOND = 9.0
_NODES = 48
_CELLS = 301
_LONGEST = 1e15
# Logarithms of run lengths at the limits 0.25, 0.50 ... 6 for the weight and clip of the monitors, so that
# the first assessment need not wait for them; a test compares them with computed_curve.
STORED = {
    (0.1, 2.5): (
        2.1152, 2.6032, 3.0344, 3.4344, 3.8278, 4.23, 4.6591, 5.124, 5.6438, 6.22, 6.8736, 7.5952,
        8.3947, 9.2759, 10.2651, 11.3229, 12.4716, 13.708, 15.045, 16.4749, 18.0377, 19.71, 21.3861,
        23.3304,
    ),
}  # fmt: skip


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
    against the tables of Lucas and Saccucci, Technometrics 32, 1990, 1-12). Clipped scores are taken by
    the Markov chain of Brook and Evans (1972) with 301 cells, right to 1 %.
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
    if math.isfinite(clip):
        return _by_markov_chain(weight, lower, upper, shift, upper_only, clip)
    return _by_integral_equation(weight, lower, upper, shift, upper_only)


def _by_markov_chain(
    weight: float, lower: float, upper: float, shift: float, upper_only: bool, clip: float
) -> float:
    """Clipped scores have point masses, which a chain of equal cells takes as they come."""
    edges = np.linspace(lower, upper, _CELLS + 1)
    middle = (edges[1:] + edges[:-1]) / 2.0
    score = (edges[None, :] - (1.0 - weight) * middle[:, None]) / weight
    below = np.where(score >= clip, 1.0, np.where(score < -clip, 0.0, ndtr(score - shift)))
    if upper_only:
        below[:, 0] = 0.0
    return _answer(np.diff(below, axis=1), lambda lengths: float(np.interp(0.0, middle, lengths)))


def _by_integral_equation(weight: float, lower: float, upper: float, shift: float, upper_only: bool) -> float:
    """Collocation on Chebyshev nodes; the expectations by Gauss-Legendre quadrature."""
    nodes = np.cos((2 * np.arange(_NODES) + 1) * math.pi / (2 * _NODES))
    place = lower + (upper - lower) * (nodes + 1.0) / 2.0
    carried = (1.0 - weight) * place
    low, high = (lower - carried) / weight, (upper - carried) / weight
    bottom = np.clip(low, shift - _BEYOND, shift + _BEYOND)
    top = np.clip(high, shift - _BEYOND, shift + _BEYOND)
    abscissa, quadrature = np.polynomial.legendre.leggauss(_NODES)
    half = (top - bottom) / 2.0
    x = (top + bottom)[:, None] / 2.0 + half[:, None] * abscissa[None, :]
    density = np.exp(-0.5 * (x - shift) ** 2) / math.sqrt(2.0 * math.pi)
    mass = half[:, None] * quadrature[None, :] * density
    landing = carried[:, None] + weight * x
    kernel = np.einsum("ij,ijk->ik", mass, _interpolation(nodes, landing, lower, upper))
    if upper_only:
        # Everything below the lower end counts as the lower end.
        kernel += ndtr(low - shift)[:, None] * _interpolation(nodes, np.array(lower), lower, upper)
    at_start = _interpolation(nodes, np.array(0.0), lower, upper)
    return _answer(kernel, lambda lengths: float(at_start @ lengths))


def _answer(kernel: Floats, at_start: Callable[[Floats], float]) -> float:
    """Solve L = 1 + kernel L and read it at the start, at most 1e15."""
    try:
        solved = np.linalg.solve(np.eye(len(kernel)) - kernel, np.ones(len(kernel)))
    except np.linalg.LinAlgError:
        return _LONGEST
    length = at_start(np.asarray(solved, np.float64))
    return min(length, _LONGEST) if length >= 1.0 else _LONGEST


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
    if (weight, clip) in STORED:
        return np.arange(0.25, 6.01, 0.25), np.array(STORED[weight, clip])
    return computed_curve(weight, clip)


def computed_curve(weight: float, clip: float) -> tuple[Floats, Floats]:
    """Limits 0.25, 0.50 ... 6 of an upper EWMA and the logarithms of their run lengths.

    Parameters
    ----------
    weight, clip
        As for `ewma_run_length`.

    Returns
    -------
    limits, logs
        Cut off where run lengths pass 1e12.
    """
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
        Limits; interpolated between computed points of the curve of log run length (right to 2 % in the run
        length), continued along its last slope.
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
