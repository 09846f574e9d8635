"""Mean and spread of single readings as independent mean squares, and draws of both given the data.

Fourteen readings on each of twelve parts count as twelve parts with fourteen readings: every mean square
keeps its own degrees of freedom.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spc.constants import c4, moving_range_dof
from spc.strata import Strata
from spc.variation import moving_range_sigma

DRAWS = 10_000


@dataclass(frozen=True)
class Pattern:
    """Lasting offsets of one level: observed mean square, places, free offsets, and the level's number."""

    square: float
    groups: int
    dof: int
    level: int


@dataclass(frozen=True)
class Spread:
    """Mean and spread of single readings as a weighted sum of independent mean squares.

    Attributes
    ----------
    mean : float
        [unit]
    n_parts : int
    squares, dofs, weights : tuple of float
        Mean squares (parts first) [unit squared], their degrees of freedom, and their weights in the variance
        of one reading.
    patterns : tuple of Pattern
        Empty when the position pattern does not count.
    parts_per_position : float
    sigma : float
        What is reported; the square root of `variance` but for the moving range's own bias. [unit]
    """

    mean: float
    n_parts: int
    squares: tuple[float, ...]
    dofs: tuple[float, ...]
    weights: tuple[float, ...]
    patterns: tuple[Pattern, ...]
    parts_per_position: float
    sigma: float

    @property
    def pattern_variance(self) -> float:
        """Variance of the position pattern, freed of noise; 0 at least. [unit squared]"""
        return max(0.0, sum(p.square - self._pattern_noise(p) for p in self.patterns))

    @property
    def variance(self) -> float:
        """Variance of a single reading. [unit squared]"""
        return sum(w * s for w, s in zip(self.weights, self.squares, strict=True)) + self.pattern_variance

    @property
    def mean_variance(self) -> float:
        """Variance of the mean: that of the part means over the number of parts. [unit squared]"""
        return self.squares[0] / self.n_parts

    @property
    def dof(self) -> float:
        """Satterthwaite degrees of freedom of `variance`.

        References
        ----------
        .. [1] Satterthwaite, F. E. (1946), Biometrics Bulletin 2, 110-114 (from memory).
        """
        spread = sum(
            2 * (w * s) ** 2 / f for w, s, f in zip(self.weights, self.squares, self.dofs, strict=True)
        )
        for p in self.patterns:
            noise = self.squares[p.level] / self.parts_per_position
            real = max(0.0, p.square - self._pattern_noise(p))
            spread += 4 * real * noise / p.groups + 2 * p.dof * (noise / p.groups) ** 2
        return 2 * self.variance**2 / spread

    def _pattern_noise(self, p: Pattern) -> float:
        return p.dof * self.squares[p.level] / (p.groups * self.parts_per_position)


def overall_spread(split: Strata) -> Spread:
    """Spread over everything, slow movement from part to part and position pattern included.

    Parameters
    ----------
    split : Strata

    Returns
    -------
    Spread
    """
    patterns = tuple(
        Pattern(level.pattern, level.groups, level.pattern_dof, at)
        for at, level in enumerate(split.levels)
        if level.pattern_dof > 0
    )
    return Spread(
        mean=split.mean,
        n_parts=split.n_parts,
        squares=tuple(level.mean_square for level in split.levels),
        dofs=tuple(level.dof for level in split.levels),
        weights=tuple(level.weight for level in split.levels),
        patterns=patterns,
        parts_per_position=split.parts_per_position,
        sigma=math.sqrt(split.noise + split.pattern),
    )


def within_spread(split: Strata) -> Spread:
    """Spread that is left when slow movement and position pattern are taken out.

    Part to part by the mean moving range of the part means, plus the components within a part. With one
    reading a part this is the mean moving range over d2.

    Parameters
    ----------
    split : Strata
        Parts in order of machining.

    Returns
    -------
    Spread
    """
    part = moving_range_sigma(split.part_means) ** 2
    dof = moving_range_dof(split.n_parts)
    inner = split.levels[1:]
    # The square of an unbiased sigma exceeds the variance by 1/c4^2; the interval works on the fair one.
    fair = part * c4(dof + 1) ** 2
    return Spread(
        mean=split.mean,
        n_parts=split.n_parts,
        squares=(fair, *(level.mean_square for level in inner)),
        dofs=(dof, *(level.dof for level in inner)),
        weights=tuple(level.weight for level in split.levels),
        patterns=(),
        parts_per_position=split.parts_per_position,
        sigma=math.sqrt(part + sum(level.weight * level.mean_square for level in inner)),
    )


def pivotal_draws(
    spread: Spread, rng: np.random.Generator, count: int = DRAWS
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Draws of mean and sigma from their pivotal quantities (generalised confidence).

    Parameters
    ----------
    spread : Spread
    rng : numpy.random.Generator
    count : int
        Number of draws of the mean squares.

    Returns
    -------
    mean, sigma : arrays, shape (2 count,)
        [unit]

    References
    ----------
    .. [1] Weerahandi, S. (1993), Journal of the American Statistical Association 88, 899-905 (generalised
       confidence intervals; from memory). Verified by simulation in the tests.
    """
    drawn = [s * f / rng.chisquare(f, count) for s, f in zip(spread.squares, spread.dofs, strict=True)]
    away = rng.standard_normal(count) * np.sqrt(drawn[0] / spread.n_parts)
    variance = sum(w * d for w, d in zip(spread.weights, drawn, strict=True))
    pattern = np.zeros(count)
    for p in spread.patterns:
        noise = drawn[p.level] / spread.parts_per_position
        # Offsets as observed less a fresh error of the same size: the mean square then holds the error twice.
        length = math.sqrt(p.square * p.groups) - np.sqrt(noise) * rng.standard_normal(count)
        others = rng.chisquare(p.dof - 1, count) if p.dof > 1 else 0.0
        pattern += (length**2 + noise * others - 2 * p.dof * noise) / p.groups
    sigma = np.sqrt(variance + np.maximum(pattern, 0.0))
    # Each draw goes both ways, so that mirrored limits give the mirrored interval exactly.
    return np.concatenate([spread.mean + away, spread.mean - away]), np.concatenate([sigma, sigma])
