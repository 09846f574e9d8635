"""Readings of many parts split by the strata of the position hierarchy, with the position pattern taken out.

Readings on one part share their set-up, so they are never treated as one flat sample. The position pattern
(lasting offsets between positions) is a fixed effect.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.errors import LARGEST, SpcError, TooFewReadings
from spc.shown import Shown


@dataclass(frozen=True)
class Stratum:
    """One level of the hierarchy, from parts down to single readings.

    Attributes
    ----------
    level : int
        0 for parts, 1 and up for the strata from coarse to fine; the last one is the single reading.
    mean_square : float
        Variance of this level's means around the mean they hang under. Its expectation is the component of
        this level plus what the finer levels add through averaging. [unit squared]
    dof : float
        Degrees of freedom of `mean_square`, after the position pattern.
    weight : float
        Share with which `mean_square` enters the variance of a single reading. [-]
    groups : int
        Number of different places on the part at this level; 1 for parts.
    pattern : float
        Mean square of the lasting offsets at this level, over positions, as observed. [unit squared]
    pattern_dof : int
        Number of independent offsets at this level.
    """

    level: int
    mean_square: float
    dof: float
    weight: float
    groups: int
    pattern: float
    pattern_dof: int


@dataclass(frozen=True)
class Strata(Shown):
    """Readings split by level, with the position pattern taken out.

    Attributes
    ----------
    n_parts, n_readings : int
    mean : float
        Mean over parts of the part means, pattern removed. [unit]
    part_means : array, shape (n_parts,)
        In the order of the rows that have a reading. [unit]
    offsets : array, shape (p,)
        Lasting offset of each position from the mean of all; NaN for a position never measured. [unit]
    levels : tuple of Stratum
        Coarse to fine; only levels that can be told apart.
    parts_per_position : float
        Harmonic mean of the number of parts on which a position was measured.
    balanced : bool
        Every part has every position and groups of a level are of one size.
    expectation : array, shape (levels, levels)
        Expected mean squares are `expectation` times the components.
    """

    n_parts: int
    n_readings: int
    mean: float
    part_means: NDArray[np.float64]
    offsets: NDArray[np.float64]
    levels: tuple[Stratum, ...]
    parts_per_position: float
    balanced: bool
    expectation: NDArray[np.float64]

    @property
    def noise(self) -> float:
        """Variance of one reading without the pattern. [unit squared]"""
        return float(sum(level.weight * level.mean_square for level in self.levels))

    @property
    def pattern(self) -> float:
        """Variance of the position pattern, freed of the noise in its estimate; 0 at least. [unit squared]"""
        total = sum(
            level.pattern - level.pattern_dof * level.mean_square / (level.groups * self.parts_per_position)
            for level in self.levels
        )
        return max(0.0, float(total))

    @property
    def raw_components(self) -> NDArray[np.floating]:
        """Components by solving the expected mean squares; some may be negative. [unit squared]"""
        return np.linalg.solve(self.expectation, [level.mean_square for level in self.levels])


def split_strata(readings: ArrayLike, strata: Sequence[ArrayLike] = (), *, pattern: bool = True) -> Strata:
    """Split readings into strata by unweighted means.

    Each level's mean square is taken over plain means of the level below, so that it equals the analysis of
    variance where the data are balanced and stays close to a chi-square where they are not.

    Parameters
    ----------
    readings : array-like, shape (n_parts, p)
        NaN = not measured. Rows without a reading and columns never measured are left out. [any unit]
    strata : sequence of array-like, each shape (p,)
        Group label of each position per level above the single position, coarsest first.
    pattern : bool
        Whether lasting position offsets are estimated and removed. False where the columns are mere repeats.

    Returns
    -------
    Strata

    Raises
    ------
    TooFewReadings
        Fewer than 2 parts with a reading.
    SpcError
        Shapes do not fit, or a reading is infinite.

    References
    ----------
    .. [1] Thomas, J. D. & Hultquist, R. A. (1978), Annals of Statistics 6, 582-587 (unweighted means;
       from memory).
    """
    y, codes = reading_table(readings, strata)
    known = np.isfinite(y)
    n, p = y.shape
    shift = float(y[known][0])
    y = y - shift
    offsets = position_offsets(y) if pattern and p > 1 else np.zeros(p)
    per_position = known.sum(axis=0)
    values = np.where(known, y - offsets, 0.0)

    # From the finest level up: means of nodes, their presence, and what the variance of each holds.
    finest = len(codes)
    nodes_of = [np.zeros(p, dtype=int), *codes, np.arange(p)]
    names = [0, *range(1, finest + 1), finest + 1]
    means, present = values, known
    holds = np.zeros((n, p, len(nodes_of)))
    holds[:, :, -1] = 1.0
    offset_means = offsets
    found: list[tuple[int, float, float, NDArray[np.float64], int, float, int]] = []
    for depth in range(len(nodes_of) - 1, 0, -1):
        parent_of = _parents(nodes_of[depth - 1], nodes_of[depth])
        ties = np.zeros((present.shape[1], parent_of.max() + 1))
        ties[np.arange(parent_of.size), parent_of] = 1.0
        children = present @ ties
        up_present = children > 0
        divisor = np.maximum(children, 1)
        up_means = (np.where(present, means, 0.0) @ ties) / divisor
        deviation = np.where(present, means - up_means[:, parent_of], 0.0)
        several = np.maximum(children - 1, 0)
        free = float(several.sum())
        average = (
            np.einsum("ncl,cu->nul", np.where(present[:, :, None], holds, 0.0), ties) / divisor[:, :, None]
        )
        up_offsets = (offset_means @ ties) / ties.sum(axis=0)
        offset_square = float(np.mean((offset_means - up_offsets[parent_of]) ** 2))
        offset_dof = parent_of.size - ties.shape[1]
        dof = free - (offset_dof if pattern else 0)
        if dof > 0:
            row = np.einsum("nu,nul->l", several, average) / free
            square = float(np.sum(deviation**2)) / dof
            found.append((names[depth], square, dof, row, parent_of.size, offset_square, offset_dof))
        else:
            # A level that never splits cannot be told from the one above: its variance goes there.
            average[:, :, depth - 1] += average[:, :, depth]
            average[:, :, depth] = 0.0
        holds = average / divisor[:, :, None]
        if dof > 0:
            holds[:, :, depth - 1] = np.where(up_present, 1.0, 0.0)
        means, present, offset_means = up_means, up_present, up_offsets
    part_means = means[:, 0]
    centre = float(part_means.mean())
    part_row = holds[:, 0, :].mean(axis=0)
    part_square = float(np.sum((part_means - centre) ** 2) / (n - 1))
    found.append((0, part_square, float(n - 1), part_row, 1, 0.0, 0))
    found.reverse()

    used = [name for name, *_ in found]
    expectation = np.array([row[used] for _, _, _, row, _, _, _ in found])
    weights = np.linalg.solve(expectation.T, np.ones(len(used)))
    levels = tuple(
        Stratum(name, square, dof, float(weight), groups, offset, offset_dof if pattern else 0)
        for (name, square, dof, _, groups, offset, offset_dof), weight in zip(found, weights, strict=True)
    )
    return Strata(
        n_parts=n,
        n_readings=int(known.sum()),
        mean=centre + shift,
        part_means=part_means + shift,
        offsets=offsets,
        levels=levels,
        parts_per_position=float(p / np.sum(1 / per_position)),
        balanced=bool(known.all()) and all(_even(nodes) for nodes in codes),
        expectation=expectation,
    )


def position_offsets(readings: NDArray[np.float64]) -> NDArray[np.float64]:
    """Lasting offset of each position, freed of part levels, by least squares; they average zero.

    Parameters
    ----------
    readings : array, shape (n_parts, p)
        NaN = not measured. Every column has a reading. [any unit]

    Returns
    -------
    array, shape (p,)
        [unit of the readings]
    """
    known = np.isfinite(readings)
    y = np.where(known, readings, 0.0)
    count = np.maximum(known.sum(axis=1), 1)
    k = known.astype(float)
    # Normal equations of part + position with the part levels eliminated; singular by one constant.
    matrix = np.diag(k.sum(axis=0)) - k.T @ (k / count[:, None])
    right = y.sum(axis=0) - k.T @ (y.sum(axis=1) / count)
    offsets = np.linalg.pinv(matrix, hermitian=True) @ right
    return offsets - offsets.mean()


def reading_table(
    readings: ArrayLike, strata: Sequence[ArrayLike]
) -> tuple[NDArray[np.float64], list[NDArray[np.int_]]]:
    """Readings without empty rows and columns, and nested group codes of the columns that are left.

    Parameters
    ----------
    readings : array-like, shape (n_parts, p)
        NaN = not measured. [any unit]
    strata : sequence of array-like, each shape (p,)
        Group labels, coarsest first.

    Returns
    -------
    readings : array, shape (n, q)
    codes : list of int arrays, each shape (q,)

    Raises
    ------
    TooFewReadings
        Fewer than 2 parts with a reading.
    SpcError
        Shapes do not fit, or a reading is infinite.
    """
    y = np.asarray(readings, dtype=float)
    if y.ndim == 1:
        y = y[:, None]
    if y.ndim != 2:
        raise SpcError(f"readings must be a table of parts by positions; got shape {y.shape}")
    far = np.abs(y) > LARGEST
    if far.any():
        raise SpcError(f"{int(far.sum())} reading(s) are infinite or beyond {LARGEST:g}")
    labels = [np.asarray(level) for level in strata]
    for level in labels:
        if level.shape != (y.shape[1],):
            raise SpcError(f"a stratum labels {level.shape} positions; the readings have {y.shape[1]}")
    known = np.isfinite(y)
    rows, columns = known.any(axis=1), known.any(axis=0)
    if rows.sum() < 2:
        raise TooFewReadings("the spread from part to part", "2 parts with a reading", int(rows.sum()))
    codes: list[NDArray[np.int_]] = []
    above = np.zeros(int(columns.sum()), dtype=int)
    for level in labels:
        _, own = np.unique(level[columns], return_inverse=True)
        # A label counts within the group above it, so that strata are nested whatever the labels are.
        _, above = np.unique(above * (own.max() + 1) + own, return_inverse=True)
        codes.append(above)
    return y[np.ix_(rows, columns)], codes


def _parents(parent: NDArray[np.int_], child: NDArray[np.int_]) -> NDArray[np.int_]:
    """Parent code of each child code, both given per position."""
    _, first = np.unique(child, return_index=True)
    return parent[first]


def _even(codes: NDArray[np.int_]) -> bool:
    return len(set(np.bincount(codes).tolist())) == 1
