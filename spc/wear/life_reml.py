"""A line for each group around a common one: random level and slope, fitted by restricted maximum likelihood."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from spc.errors import SpcError
from spc.process import Floats, Ints


@dataclass(frozen=True)
class LivesFit:
    """Common coefficients, their covariance, covariance between groups, residual sd, REML criterion."""

    common: Floats
    common_cov: Floats
    between: Floats
    sigma: float
    criterion: float


def fit_lives(value: Floats, life: Ints, own: Floats, common: Floats) -> LivesFit:
    """Fit value = common @ coefficients + own @ (deviation of the life) + residual.

    Parameters
    ----------
    value
        (n,) finite values [any unit].
    life
        (n,) label of the group (tool life, subject) of each value.
    own
        (n, 2) columns whose coefficients differ from life to life: level and slope.
    common
        (n, c) columns with coefficients common to all.

    Returns
    -------
    LivesFit
        `criterion` is minus twice the restricted log-likelihood, with its constants.

    Raises
    ------
    SpcError
        Common columns that cannot be told apart, no more values than columns, or nothing left over to estimate the
        residual from.

    Notes
    -----
    Residual variance and common coefficients are profiled out; the search runs over the Cholesky factor of the
    covariance between lives in units of the residual variance (Laird & Ware 1982, Biometrics 38, 963-974; profiling
    as in Bates et al. 2015, J. Stat. Softw. 67(1); both from memory). The criterion is even in that factor, so a
    variance of zero lies inside the search. Values are scaled to unit spread first.
    """
    from scipy.optimize import minimize

    free = len(value) - common.shape[1]
    spread = float(np.std(value)) if len(value) else 0.0
    if free < 1 or spread <= 0.0 or np.linalg.matrix_rank(common) < common.shape[1]:
        raise SpcError(
            f"{len(value)} values do not tell {common.shape[1]} common coefficients apart: leave out columns "
            "that follow from others, or bring more values"
        )
    # Both own columns at unit size, so that one step of the search means as much in each.
    size = np.sqrt((own**2).mean(axis=0))
    size = np.where(size > 0, size, 1.0)
    centre = float(np.mean(value))
    table = np.column_stack([own / size, common, (value - centre) / spread])
    order = np.argsort(life, kind="stable")
    starts = np.unique(life[order], return_index=True)[1]
    products = np.add.reduceat(table[order][:, :, None] * table[order][:, None, :], starts, axis=0)
    # The centre is taken out by the common columns only where they span a constant.
    shift = np.linalg.lstsq(common, np.full(len(value), centre), rcond=None)[0]
    if not np.allclose(common @ shift, centre, atol=1e-9 * max(abs(centre), spread)):
        raise SpcError("the common columns must span a constant: add a level")

    factor = np.array([1.0, 0.0, 1.0])
    # A second run starts a fresh simplex where the first one may have shrunk too early.
    for start in (0.5, 1.1):
        found = minimize(
            lambda x: _profile(x, products, free)[0],
            factor * start + 0.01,
            method="Nelder-Mead",
            options={"xatol": 1e-6, "fatol": 1e-9, "maxfev": 1_000},
        )
        factor = found.x
    criterion, variance, beta, covariance, between = _profile(factor, products, free)
    if variance < 1e-20:
        raise SpcError("the columns fit every value exactly: nothing is left to tell how much parts differ")
    return LivesFit(
        common=beta * spread + shift,
        common_cov=covariance * spread**2,
        between=between * variance * spread**2 / np.outer(size, size),
        sigma=math.sqrt(variance) * spread,
        criterion=criterion + 2.0 * free * math.log(spread),
    )


def _profile(factor: Floats, products: Floats, free: int) -> tuple[float, float, Floats, Floats, Floats]:
    """Criterion, residual variance, common coefficients, their covariance, relative covariance between lives."""
    root = np.array([[factor[0], 0.0], [factor[1], factor[2]]])
    inner = np.eye(2) + root.T @ products[:, :2, :2] @ root
    cross = root.T @ products[:, :2, 2:]
    left = (products[:, 2:, 2:] - np.swapaxes(cross, 1, 2) @ np.linalg.solve(inner, cross)).sum(axis=0)
    information, right = left[:-1, :-1], left[:-1, -1]
    beta = np.linalg.solve(information, right)
    variance = max(float(left[-1, -1] - right @ beta), 1e-300) / free
    logs = float(np.linalg.slogdet(inner)[1].sum() + np.linalg.slogdet(information)[1])
    criterion = free * (math.log(2.0 * math.pi * variance) + 1.0) + logs
    return criterion, variance, beta, np.linalg.inv(information) * variance, root @ root.T
