"""Features computed from the readings of one part: differences, neighbour steps and ranges along an axis.

A difference is signed: a machine that goes off moves it to one side, and an absolute value would hide which.
A derived value is formed from complete sets only. Averaging whatever is there would mix the position pattern
into the difference as soon as one reading is missing.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.errors import LARGEST, SpcError
from spc.shown import Shown


@dataclass(frozen=True)
class Derived(Shown):
    """Values of a derived feature.

    Attributes
    ----------
    values : array, shape (n_parts, n_positions)
        Signed, in the unit of the readings; NaN where a part lacks a reading that the value needs.
    positions : dict of str to tuple of str
        Label of each derived position on each axis that is left; empty for a value per part.
    """

    values: NDArray[np.float64]
    positions: dict[str, tuple[str, ...]]


def named_labels(words: Sequence[str], order: Sequence[str]) -> tuple[str, ...]:
    """Labels of an axis, with ``"first"``, ``"last"`` and ``"inner"`` resolved.

    Parameters
    ----------
    words : sequence of str
        Labels or the three words.
    order : sequence of str
        Labels of the axis in order.

    Returns
    -------
    tuple of str
        Labels, each once, in the order of the axis.

    Raises
    ------
    SpcError
        A word is neither a label of the axis nor one of the three, or stands for no label.
    """
    named = {"first": order[:1], "last": order[-1:], "inner": order[1:-1]}
    chosen: set[str] = set()
    for word in words:
        found = [word] if word in order else list(named.get(word, ()))
        if not found:
            legal = ", ".join(("first", "last", "inner", *order))
            raise SpcError(f"{word!r} stands for no label of this axis; legal are {legal}")
        chosen.update(found)
    return tuple(label for label in order if label in chosen)


def difference(
    readings: ArrayLike,
    labels: Mapping[str, Sequence[str]],
    axis: str,
    plus: Sequence[str],
    minus: Sequence[str],
    keep: Sequence[str] = (),
    order: Sequence[str] | None = None,
) -> Derived:
    """Mean over `plus` minus mean over `minus` along one axis (taper, out-of-round, bank difference ...).

    Parameters
    ----------
    readings : array-like, shape (n_parts, p)
        One feature; NaN = not measured. [any unit]
    labels : mapping of axis to p labels
        Where each reading sits.
    axis : str
        Axis along which the difference is taken.
    plus, minus : sequence of str
        Labels of the axis, or ``"first"``, ``"last"``, ``"inner"``.
    keep : sequence of str
        Axes that the result still has; all others are averaged over their complete sets.
    order : sequence of str, optional
        Labels of the axis in order; by default in order of first appearance.

    Returns
    -------
    Derived
        Values in the unit of the readings.

    Raises
    ------
    SpcError
        An axis or a label is unknown, or plus and minus overlap.
    """
    grid = _Grid(readings, labels)
    along = grid.order(axis) if order is None else tuple(order)
    positive, negative = named_labels(plus, along), named_labels(minus, along)
    if set(positive) & set(negative):
        both = ", ".join(sorted(set(positive) & set(negative)))
        raise SpcError(f"{both} cannot stand on both sides of a difference along {axis}")
    return grid.contrast({"": (positive, negative)}, axis, keep, name=None)


def steps(
    readings: ArrayLike,
    labels: Mapping[str, Sequence[str]],
    axis: str,
    keep: Sequence[str] = (),
    order: Sequence[str] | None = None,
) -> Derived:
    """Signed differences of neighbours along an axis, next minus previous (bearing bore to bearing bore).

    Parameters
    ----------
    readings, labels, axis, keep, order
        As for `difference`.

    Returns
    -------
    Derived
        One position per pair of neighbours, labelled ``"1-2"`` on the axis. [unit of the readings]

    Raises
    ------
    SpcError
        An axis is unknown, or the axis has a single label.
    """
    grid = _Grid(readings, labels)
    along = grid.order(axis) if order is None else tuple(order)
    if len(along) < 2:
        raise SpcError(
            f"axis {axis} has the single label {', '.join(along) or '(none)'}: there is no neighbour"
        )
    pairs = {f"{a}-{b}": ((b,), (a,)) for a, b in itertools.pairwise(along)}
    return grid.contrast(pairs, axis, keep, name=axis)


def spread_range(
    readings: ArrayLike, labels: Mapping[str, Sequence[str]], keep: Sequence[str] = ()
) -> Derived:
    """Largest minus smallest reading over a part, or over each label of the kept axes (flatness, say).

    A range over fewer readings is smaller, so a part with a reading missing has no range.

    Parameters
    ----------
    readings : array-like, shape (n_parts, p)
        One feature; NaN = not measured. [any unit]
    labels : mapping of axis to p labels
        Where each reading sits.
    keep : sequence of str
        Axes that the result still has.

    Returns
    -------
    Derived
        Values of 0 and above. [unit of the readings]

    Raises
    ------
    SpcError
        An axis is unknown.
    """
    grid = _Grid(readings, labels)
    groups = grid.groups(keep)
    columns = [np.ptp(grid.readings[:, at], axis=1) for at in groups.values()]
    return grid.derived(columns, list(groups), keep)


class _Grid:
    """Readings with the labels of their positions."""

    def __init__(self, readings: ArrayLike, labels: Mapping[str, Sequence[str]]) -> None:
        self.readings = np.asarray(readings, dtype=float)
        if self.readings.ndim != 2:
            raise SpcError(f"readings must be a table of parts by positions; got shape {self.readings.shape}")
        far = int((np.abs(self.readings) > LARGEST).sum())
        if far:
            raise SpcError(f"{far} reading(s) are infinite or beyond {LARGEST:g}")
        self.labels = {axis: tuple(values) for axis, values in labels.items()}
        self.p = self.readings.shape[1]
        for axis, values in self.labels.items():
            if len(values) != self.p:
                raise SpcError(f"axis {axis} labels {len(values)} positions; the readings have {self.p}")

    def order(self, axis: str) -> tuple[str, ...]:
        if axis not in self.labels:
            raise SpcError(f"unknown axis {axis!r}; these readings have {', '.join(self.labels) or 'none'}")
        return tuple(dict.fromkeys(self.labels[axis]))

    def groups(self, axes: Sequence[str]) -> dict[tuple[str, ...], list[int]]:
        """Columns per combination of labels on `axes`, in order of first appearance."""
        for axis in axes:
            self.order(axis)
        found: dict[tuple[str, ...], list[int]] = {}
        for column in range(self.p):
            found.setdefault(tuple(self.labels[axis][column] for axis in axes), []).append(column)
        return found

    def contrast(
        self,
        sides: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]],
        axis: str,
        keep: Sequence[str],
        name: str | None,
    ) -> Derived:
        if axis in keep:
            raise SpcError(f"axis {axis} cannot be kept: the difference is taken along it")
        others = [other for other in self.labels if other != axis]
        columns: list[NDArray[np.float64]] = []
        keys: list[tuple[str, ...]] = []
        for key, inside in self.groups(keep).items():
            sets: dict[tuple[str, ...], dict[str, list[int]]] = {}
            for column in inside:
                rest = tuple(self.labels[other][column] for other in others)
                sets.setdefault(rest, {}).setdefault(self.labels[axis][column], []).append(column)
            for side, (positive, negative) in sides.items():
                values = [
                    self._one(by_label, positive) - self._one(by_label, negative)
                    for by_label in sets.values()
                    if all(label in by_label for label in (*positive, *negative))
                ]
                if values:
                    columns.append(_mean_of_known(np.stack(values)))
                    keys.append((*key, side) if name is not None else key)
        if not columns:
            raise SpcError(f"no set of positions holds every label that the difference along {axis} needs")
        return self.derived(columns, keys, (*keep, name) if name is not None else keep)

    def _one(self, by_label: Mapping[str, list[int]], chosen: Sequence[str]) -> NDArray[np.float64]:
        return np.mean([self.readings[:, by_label[label]].mean(axis=1) for label in chosen], axis=0)

    def derived(
        self, columns: Sequence[NDArray[np.float64]], keys: Sequence[tuple[str, ...]], axes: Sequence[str]
    ) -> Derived:
        positions = {axis: tuple(key[i] for key in keys) for i, axis in enumerate(axes)}
        return Derived(values=np.column_stack(columns), positions=positions)


def _mean_of_known(sets: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean over the complete sets of each part; NaN where there is none. Shape (sets, parts) -> (parts,)."""
    known = np.isfinite(sets)
    count = known.sum(axis=0)
    total = np.where(known, sets, 0.0).sum(axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)
