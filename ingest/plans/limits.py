"""Targets and specification limits in force on a day, for many values at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from ingest.plans.model import Plan

Floats = NDArray[np.float64]
EPOCH = date(1970, 1, 1).toordinal()
HAIR = 1e-6
"""A value this near a limit lies on it and not beyond: where a unit was converted the last bits differ. [base unit]"""


@dataclass(frozen=True)
class InForce:
    """Target and limits of each value, in base unit; NaN where the plan gives none."""

    target: Floats
    lower: Floats
    upper: Floats


def in_force(
    plan: Plan, feature: str, families: Sequence[str], family: NDArray[np.int64], day: NDArray[np.int64]
) -> InForce:
    """Specification of one feature in force for each value.

    Parameters
    ----------
    plan : Plan
    feature : str
        Key of a measured or derived feature.
    families : sequence of str
        Keys that the codes of `family` stand for; masters may be among them.
    family : (n,) int array
        Code of the family of each value; -1 = not known.
    day : (n,) int array
        Local day of each value, in days since 1970-01-01.

    Returns
    -------
    InForce
        Arrays of shape (n,). The target of a check is the size of its master, that of a feature without a
        specification is NaN.
    """
    n = len(family)
    target, lower, upper = (np.full(n, np.nan) for _ in range(3))
    check = plan.features[feature].kind == "check"
    for code in np.unique(family[family >= 0]):
        key = families[int(code)]
        at = np.flatnonzero(family == code)
        if check:
            target[at] = float(plan.masters[key].size) if key in plan.masters else np.nan
            continue
        specs = sorted(
            (s for s in plan.specifications if s.feature == feature and key in s.families),
            key=lambda s: s.valid_from,
        )
        if not specs:
            continue
        begins = np.array([s.valid_from.toordinal() - EPOCH for s in specs])
        which = np.searchsorted(begins, day[at], side="right") - 1
        chosen = at[which >= 0]
        index = which[which >= 0]
        target[chosen] = np.array([s.aim for s in specs])[index]
        lower[chosen] = np.array([_or_nan(s.lower) for s in specs])[index]
        upper[chosen] = np.array([_or_nan(s.upper) for s in specs])[index]
    return InForce(target, lower, upper)


def _or_nan(value: float | None) -> float:
    return np.nan if value is None else float(value)
