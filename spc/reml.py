"""Restricted maximum likelihood for nested variance components on unbalanced data."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class RemlFit:
    """Components coarse to fine (parts first, single reading last), mean, its standard error, criterion.

    `criterion` is minus twice the restricted log-likelihood, with its constants. [-]
    """

    variances: tuple[float, ...]
    mean: float
    standard_error: float
    criterion: float


@dataclass(frozen=True)
class _Pattern:
    """Parts that lack the same positions share one covariance matrix."""

    shared: list[NDArray[np.float64]]  # one k-by-k block per random level
    fixed: NDArray[np.float64]  # k by columns
    total: NDArray[np.float64]  # (k,) sum over the parts
    square: NDArray[np.float64]  # (k, k) sum of outer products
    parts: int


def fit_reml(
    readings: NDArray[np.float64],
    groups: Sequence[NDArray[np.int_]],
    *,
    pattern: bool,
    single: bool = True,
) -> RemlFit:
    """Fit part + groups + single reading by profiled restricted maximum likelihood.

    Sigma and the fixed effects are profiled out; the search runs over the ratios of the other standard
    deviations to that of a single reading. Data are scaled to unit spread first.

    Parameters
    ----------
    readings : array, shape (n_parts, p)
        NaN = not measured; no empty row or column. [any unit]
    groups : sequence of int arrays, each shape (p,)
        Nested group codes, coarse to fine.
    pattern : bool
        One fixed effect per position when True, otherwise one mean.
    single : bool
        False when parts and single readings cannot be told apart (one reading a part).

    Returns
    -------
    RemlFit

    References
    ----------
    .. [1] Patterson, H. D. & Thompson, R. (1971), Biometrika 58, 545-554; profiling over ratios as in
       Bates, D. et al. (2015), Journal of Statistical Software 67(1) (both from memory).
    """
    from scipy.optimize import minimize

    known = np.isfinite(readings)
    centre = float(readings[known].mean())
    scale = float(readings[known].std()) or 1.0
    y = np.where(known, (readings - centre) / scale, 0.0)
    p = y.shape[1]
    fixed = np.eye(p) if pattern else np.ones((p, 1))
    levels = ([np.zeros(p, dtype=int)] if single else []) + list(groups)
    blocks = [(codes[:, None] == codes[None, :]).astype(float) for codes in levels]
    sets = _patterns(y, known, blocks, fixed)

    ratios = np.ones(len(levels))
    # The criterion is even in each ratio, so a component of zero lies inside the search and not on an edge. The
    # second run starts a fresh simplex where the first one may have shrunk too early.
    for start in (1.0, 0.3) if levels else ():
        found = minimize(
            lambda ratio: _profile(ratio, sets)[0],
            ratios * start + 0.01,
            method="Nelder-Mead",
            options={"xatol": 1e-8, "fatol": 1e-11, "maxfev": 2_000},
        )
        ratios = np.abs(found.x)
    ratios = np.where(ratios < 1e-4, 0.0, ratios)
    criterion, sigma2, beta, covariance = _profile(ratios, sets)
    free = int(known.sum()) - fixed.shape[1]
    weight = np.full(fixed.shape[1], 1 / fixed.shape[1])
    return RemlFit(
        variances=tuple(float(r**2 * sigma2 * scale**2) for r in (*ratios, 1.0)),
        mean=float(weight @ beta) * scale + centre,
        standard_error=math.sqrt(float(weight @ covariance @ weight)) * scale,
        criterion=criterion + 2 * free * math.log(scale),
    )


def _patterns(
    y: NDArray[np.float64],
    known: NDArray[np.bool_],
    blocks: Sequence[NDArray[np.float64]],
    fixed: NDArray[np.float64],
) -> list[_Pattern]:
    masks, which = np.unique(known, axis=0, return_inverse=True)
    sets = []
    for i, mask in enumerate(masks):
        rows = y[which.ravel() == i][:, mask]
        cut = np.ix_(mask, mask)
        sets.append(
            _Pattern([b[cut] for b in blocks], fixed[mask], rows.sum(axis=0), rows.T @ rows, rows.shape[0])
        )
    return sets


def _profile(
    ratios: NDArray[np.float64], sets: Sequence[_Pattern]
) -> tuple[float, float, NDArray[np.floating], NDArray[np.floating]]:
    """Criterion, residual variance, fixed effects and their covariance at given ratios."""
    columns = sets[0].fixed.shape[1]
    information = np.zeros((columns, columns))
    right = np.zeros(columns)
    square = 0.0
    log_det = 0.0
    readings = 0
    for s in sets:
        v = np.eye(s.fixed.shape[0])
        for r, block in zip(np.atleast_1d(ratios), s.shared, strict=True):
            v += r**2 * block
        inverse = np.linalg.inv(v)
        log_det += s.parts * float(np.linalg.slogdet(v)[1])
        weighted = s.fixed.T @ inverse
        information += s.parts * weighted @ s.fixed
        right += weighted @ s.total
        square += float(np.sum(inverse * s.square))
        readings += s.parts * s.fixed.shape[0]
    beta = np.linalg.solve(information, right)
    free = readings - columns
    sigma2 = (square - float(right @ beta)) / free
    log_det += float(np.linalg.slogdet(information)[1])
    criterion = free * (1 + math.log(2 * math.pi * sigma2)) + log_det
    return criterion, sigma2, beta, sigma2 * np.linalg.inv(information)
