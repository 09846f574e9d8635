"""A gauge trial with gaps: mean squares of each source, the other one allowed for.

Without gaps these are the mean squares of the two-way analysis. With gaps they are no longer independent and only
nearly chi-square, so that intervals from them are approximate; the tests print what they cover.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int_]


@dataclass(frozen=True)
class Adjusted:
    """Mean squares of a trial with gaps, and each component as a weighted sum of them.

    `squares` in the unit squared of the readings, `dofs` their degrees of freedom; `weights` by component.
    """

    squares: tuple[float, ...]
    dofs: tuple[float, ...]
    weights: dict[str, tuple[float, ...]]


def adjusted_squares(y: Floats, part: Ints, operator: Ints, *, interaction: bool) -> Adjusted | None:
    """Mean squares by fitting constants.

    Parameters
    ----------
    y : array, shape (n,)
        [any unit]
    part, operator : int arrays, shape (n,)
        Codes from 0.
    interaction : bool
        Whether interaction and repeatability are kept apart; some cell was read twice then.

    Returns
    -------
    Adjusted or None
        None when a source cannot be told from the others: parts and operators that nobody links.

    References
    ----------
    .. [1] Henderson, C. R. (1953), Biometrics 9, 226-252, method 3; Burdick, R. K. & Graybill, F. A. (1992),
       Confidence Intervals on Variance Components (both from memory). Verified by simulation in the tests.
    """
    cell = np.unique(part * (int(operator.max()) + 1) + operator, return_inverse=True)[1]
    by_part, by_operator, by_cell = (_indicators(code) for code in (part, operator, cell))
    both = _basis(np.hstack([by_part, by_operator]))
    whole = [(both, _basis(by_operator)), (both, _basis(by_part))]
    names, holds = ["part", "operator"], [by_part, by_operator]
    if interaction:
        whole += [(_basis(by_cell), both), (np.eye(y.size), _basis(by_cell))]
        names.append("interaction")
        holds.append(by_cell)
    else:
        whole.append((np.eye(y.size), both))
    names.append("repeatability")
    centred = y - float(y.mean())
    squares, dofs, expected = [], [], []
    for larger, smaller in whole:
        free = larger.shape[1] - smaller.shape[1]
        if free < 1:
            return None
        dofs.append(float(free))
        squares.append((_length(larger, centred) - _length(smaller, centred)) / free)
        expected.append([*((_length(larger, z) - _length(smaller, z)) / free for z in holds), 1.0])
    matrix = np.array(expected)
    if dofs[0] < by_part.shape[1] - 1 or np.linalg.cond(matrix) > 1e9:
        return None
    inverse = np.linalg.inv(matrix)
    inverse[np.abs(inverse) < 1e-12 * np.abs(inverse).max()] = 0.0
    rows = dict(zip(names, inverse, strict=True))
    rows["reproducibility"] = rows["operator"] + rows.get("interaction", 0.0)
    rows["gauge"] = rows["repeatability"] + rows["reproducibility"]
    rows["total"] = rows["gauge"] + rows["part"]
    weights = {name: tuple(float(w) for w in row) for name, row in rows.items()}
    return Adjusted(tuple(max(0.0, float(s)) for s in squares), tuple(dofs), weights)


def _indicators(code: Ints) -> Floats:
    return np.eye(int(code.max()) + 1)[code]


def _basis(columns: Floats) -> Floats:
    """Orthonormal columns that span the same space."""
    u, size, _ = np.linalg.svd(columns, full_matrices=False)
    return u[:, size > 1e-9 * size[0]]


def _length(basis: Floats, of: Floats) -> float:
    """Squared length of what lies in the space of a basis."""
    return float(np.sum((basis.T @ of) ** 2))
