"""What else a tool makes, beside the feature whose limit it wears towards: does it move with this life too?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from spc.wear.forecast import chance_as_fast, wear_z
from spc.wear.model import WearFit, WearRows, wear_basis

LATEST = 8
"""Parts of the life that are held against the usual course."""


@dataclass(frozen=True)
class Companion:
    """A companion of a wearing feature within the current life.

    Attributes
    ----------
    came, expected
        Mean of the latest parts, and what the usual course gives for parts of that age and family. [unit of the values]
    z
        How much steeper it rises than in earlier lives, as `spc.wear.forecast.wear_z` counts it.
    chance
        Chance that an ordinary life shows that, at some time in its course: of a rise, or of a move either way.
    parts, lives
        Parts of this life, and lives that taught what is usual.
    """

    came: float
    expected: float
    z: float
    chance: float
    parts: int
    lives: int


def beside(current: WearRows, fit: WearFit, *, either_way: bool) -> Companion | None:
    """Hold a companion in the current life against what it did in earlier ones.

    Parameters
    ----------
    current
        Parts of the current life: a size's log scatter within a part, a taper, a cycle time.
    fit
        What finished lives teach of the same values.
    either_way
        A fall counts as well as a rise: for a taper or a cycle time, not for scatter.

    Returns
    -------
    Companion or None
        None with fewer than 8 parts of known families or over less than a fifth of a usual life.

    Notes
    -----
    The slope of the life against the mixed model of the earlier ones (`wear_z`), so that a companion which always rises
    with use is no news. Companions are measured on the same blocks as the finish: their chances must not be multiplied.
    """
    z = wear_z(current, fit, 1)
    if math.isnan(z):
        return None
    known = current.of(np.isin(current.group, fit.groups))
    late = slice(-LATEST, None)
    level = fit.common[[fit.groups.index(int(g)) for g in known.group[late]]]
    usual = level + wear_basis(known.uses[late], fit.scale, fit.settling) @ fit.common[-3:]
    chance = min(1.0, 2.0 * chance_as_fast(abs(z), fit.lives)) if either_way else chance_as_fast(z, fit.lives)
    return Companion(
        float(known.value[late].mean()), float(usual.mean()), z, chance, int(known.value.size), fit.lives
    )
