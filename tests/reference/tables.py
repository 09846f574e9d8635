"""Published data sets beside the tests: CSV with the source in the first comment lines."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

FOLDER = Path(__file__).parent / "data"


def rows(name: str) -> list[dict[str, str]]:
    """Rows of a data set as text."""
    lines = (FOLDER / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def column(name: str, key: str) -> np.ndarray:
    """One column as numbers."""
    return np.array([float(row[key]) for row in rows(name)])


def table(name: str, *keys: str) -> np.ndarray:
    """Several columns as a table, one row per line of the file."""
    return np.column_stack([column(name, key) for key in keys])


def by_group(name: str, group: str, key: str) -> np.ndarray:
    """Values of equal-sized groups, one group per row, in order of appearance."""
    found: dict[str, list[float]] = {}
    for row in rows(name):
        found.setdefault(row[group], []).append(float(row[key]))
    return np.array(list(found.values()))


def printed(text: str, slack: float = 0.0):
    """A printed figure as a pytest comparison: half a unit of its last digit, plus `slack` units of it."""
    import pytest

    mantissa, _, exponent = text.upper().partition("E")
    digits = len(mantissa.partition(".")[2])
    unit = 10.0 ** (int(exponent or 0) - digits)
    return pytest.approx(float(text), rel=0, abs=(0.5 + slack) * unit * (1 + 1e-9))
