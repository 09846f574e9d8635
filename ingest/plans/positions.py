"""Positions of a feature over all families of the plan, in one order, and the levels they are nested in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.plans.model import Plan, parse_position


@dataclass(frozen=True)
class Slots:
    """Columns of a feature's table of parts by positions.

    Attributes
    ----------
    positions : tuple of str
        Position texts of all families together, coarse axis slowest.
    of : dict of str to tuple of int
        Columns that a family (or master) has.
    strata : tuple of int arrays, shape (p,)
        Group of each column on each level above the single position, coarsest first.
    """

    positions: tuple[str, ...]
    of: dict[str, tuple[int, ...]]
    strata: tuple[NDArray[np.int64], ...]

    def labels(self, columns: tuple[int, ...]) -> dict[str, tuple[str, ...]]:
        """Label of some columns on each axis."""
        parsed = [parse_position(self.positions[c]) for c in columns]
        axes = list(parsed[0]) if parsed else []
        return {axis: tuple(p[axis] for p in parsed) for axis in axes}


def slots(plan: Plan, feature: str) -> Slots:
    """Columns of `feature` over the families and masters that have it."""
    own = plan.features[feature].kind != "check"
    kinds = [*plan.families] if own else [*plan.masters]
    listed = {kind: plan.positions(feature, kind) for kind in kinds}
    rank: dict[str, dict[str, int]] = {}
    for positions in sorted(listed.values(), key=len, reverse=True):
        for text in positions:
            for axis, value in parse_position(text).items():
                rank.setdefault(axis, {}).setdefault(value, len(rank.get(axis, ())))
    texts = sorted(
        {text for positions in listed.values() for text in positions},
        key=lambda text: tuple(rank[axis][value] for axis, value in parse_position(text).items()),
    )
    at = {text: i for i, text in enumerate(texts)}
    return Slots(
        positions=tuple(texts),
        of={kind: tuple(at[text] for text in positions) for kind, positions in listed.items()},
        strata=_strata(texts),
    )


def _strata(texts: list[str]) -> tuple[NDArray[np.int64], ...]:
    values = [tuple(parse_position(text).values()) for text in texts]
    depth = len(values[0]) if values else 0
    levels = []
    for level in range(1, depth):
        groups: dict[tuple[str, ...], int] = {}
        labels = [groups.setdefault(v[:level], len(groups)) for v in values]
        levels.append(np.array(labels, dtype=np.int64))
    return tuple(levels)
