"""Results as a notebook shows them: a few lines, while `repr` keeps every digit."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from typing import Any

import numpy as np

_MOST = 4
"""Entries of a list that are written out."""


class Shown:
    """A frozen result whose `str`, and so its picture in a notebook, is short enough to read."""

    def __str__(self) -> str:
        head = type(self).__name__
        figure = _figure(self)
        return f"{head} {figure}" if figure else "\n".join([head, *_lines(self, "  ")])

    def _repr_pretty_(self, printer: Any, cycle: bool) -> None:  # noqa: ARG002 - the notebook's own signature
        printer.text(str(self))


def _figure(thing: object) -> str:
    """An estimate with its ends in one line; empty for anything else."""
    estimate = getattr(thing, "estimate", None)
    if not isinstance(estimate, (int, float)) or not hasattr(thing, "lower"):
        return ""
    lower, upper = getattr(thing, "lower", None), getattr(thing, "upper", None)
    if lower is None or upper is None:
        return f"{estimate:.5g}"
    return f"{estimate:.5g} ({lower:.5g} to {upper:.5g})"


def _lines(thing: object, indent: str) -> Iterator[str]:
    for item in dataclasses.fields(thing):  # type: ignore[arg-type]
        value = getattr(thing, item.name)
        if value is None or (isinstance(value, (tuple, dict)) and not value):
            continue
        if dataclasses.is_dataclass(value) and not _figure(value):
            yield f"{indent}{item.name}: {type(value).__name__}"
            yield from _lines(value, indent + "  ")
        else:
            yield f"{indent}{item.name}: {_short(value)}"


def _short(value: object) -> str:
    if isinstance(value, np.ndarray) and value.ndim:
        return _array(value)
    if isinstance(value, (bool, np.bool_, str)):
        return str(value)
    if isinstance(value, (float, np.floating, np.ndarray)):
        return f"{float(value):.6g}" if np.asarray(value).dtype.kind == "f" else str(value)
    if isinstance(value, tuple):
        named = all(isinstance(entry, str) for entry in value)
        told = [_short(entry) for entry in value[:_MOST]]
        more = f" and {len(value) - _MOST} more" if len(value) > _MOST else ""
        return ("; " if named else ", ").join(told) + more
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        words = [
            f"{item.name} {_short(getattr(value, item.name))}"
            for item in dataclasses.fields(value)
            if getattr(value, item.name) is not None
        ]
        return _figure(value) or f"{type(value).__name__}({', '.join(words[:_MOST])})"
    return str(value)


def _array(values: np.ndarray[Any, Any]) -> str:
    many = " x ".join(str(n) for n in values.shape) + " values"
    if values.size == 0 or values.dtype.kind not in "fiu":
        return f"{many}" if values.dtype.kind != "b" else f"{many}, {int(values.sum())} true"
    known = values[np.isfinite(values)] if values.dtype.kind == "f" else values
    if known.size == 0:
        return f"{many}, none known"
    low, high = float(known.min()), float(known.max())
    return f"{many}, all {low:.6g}" if low == high else f"{many}, {low:.6g} to {high:.6g}"
