"""Units of measure: the closed list, how people spell them, and the way to the base unit and back.

The base unit of every length is the micrometre, of time the minute, of temperature the degree Celsius.
The inch is 25.4 mm exactly, so every factor below is exact as a decimal.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from decimal import Decimal
from types import MappingProxyType
from typing import Literal, overload

import numpy as np
from numpy.typing import NDArray

from spc.errors import SpcError

Dimension = Literal["length", "time", "temperature"]

# Decimal text, so that a typed quantity converts without a binary rounding on the way.
_EXACT: Mapping[str, tuple[Dimension, Decimal]] = MappingProxyType(
    {
        "in": ("length", Decimal("25400")),
        "thou": ("length", Decimal("25.4")),
        "uin": ("length", Decimal("0.0254")),
        "mm": ("length", Decimal("1000")),
        "um": ("length", Decimal("1")),
        "min": ("time", Decimal("1")),
        "degC": ("temperature", Decimal("1")),
    }
)

UNITS: tuple[str, ...] = tuple(_EXACT)
"""Every legal unit name."""

FACTORS: Mapping[str, float] = MappingProxyType(
    {name: float(factor) for name, (dimension, factor) in _EXACT.items() if dimension == "length"}
)
"""Micrometres in one unit, for the units of length."""

# Keys are compared after `_fold`, so case, the two micro signs and a trailing dot need no entry.
_SPELLINGS: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(("in", "inch", "inches", '"'), "in"),
        **dict.fromkeys(("thou", "mil", "mils", "thousandth", "thousandths"), "thou"),
        **dict.fromkeys(("uin", "uinch", 'u"', "microinch", "microinches"), "uin"),
        **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
        **dict.fromkeys(("um", "micron", "microns", "micrometre", "micrometres"), "um"),
        **dict.fromkeys(("micrometer", "micrometers"), "um"),
        **dict.fromkeys(("min", "mins", "minute", "minutes"), "min"),
        **dict.fromkeys(("degc", "°c", "c", "celsius", "℃"), "degC"),
    }
)

_MICRO_SIGNS = str.maketrans({"\u00b5": "u", "\u03bc": "u", "\u039c": "M", "\u201d": '"', "\u2033": '"'})
_QUANTITY = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(\S.*?)\s*")


class UnitError(SpcError):
    """A unit that is not on the closed list, or a quantity that cannot be read.

    Attributes
    ----------
    text : str
        What was given.
    """

    def __init__(self, text: str, message: str) -> None:
        super().__init__(message)
        self.text = text


def _fold(text: str) -> str:
    folded = text.strip().translate(_MICRO_SIGNS).lower().rstrip(".")
    return folded.replace("-", "").replace(" ", "")


def parse_unit(text: str) -> str:
    """Name of the unit that a person or a gauge wrote.

    Parameters
    ----------
    text : str
        A spelling: ``"Inch"``, ``'"'``, ``"mil"``, ``"micron"``, ``"µm"`` with either micro sign,
        ``"µin."`` and so on. Case and a trailing dot do not matter.

    Returns
    -------
    unit : str
        One of `UNITS`.

    Raises
    ------
    UnitError
        The spelling is not known; nothing is guessed.
    """
    unit = _SPELLINGS.get(_fold(text))
    if unit is None:
        raise UnitError(text, f"unknown unit {text!r}; use one of {', '.join(UNITS)}")
    return unit


def dimension(unit: str) -> Dimension:
    """Whether a unit measures length, time or temperature.

    Raises
    ------
    UnitError
        The unit is not known.
    """
    return _EXACT[parse_unit(unit)][0]


@overload
def to_base(value: float, unit: str) -> float: ...
@overload
def to_base(value: NDArray[np.float64], unit: str) -> NDArray[np.float64]: ...
def to_base(value: float | NDArray[np.float64], unit: str) -> float | NDArray[np.float64]:
    """Value in the base unit of its dimension (µm, min or °C).

    Parameters
    ----------
    value : float or array of float
        In `unit`.
    unit : str
        Any spelling that `parse_unit` accepts.

    Returns
    -------
    float or array of float
        In the base unit, same shape.

    Raises
    ------
    UnitError
        The unit is not known.
    """
    return value * float(_EXACT[parse_unit(unit)][1])


@overload
def from_base(value: float, unit: str) -> float: ...
@overload
def from_base(value: NDArray[np.float64], unit: str) -> NDArray[np.float64]: ...
def from_base(value: float | NDArray[np.float64], unit: str) -> float | NDArray[np.float64]:
    """Value in `unit` of a value in the base unit: the inverse of `to_base`.

    Raises
    ------
    UnitError
        The unit is not known.
    """
    return value / float(_EXACT[parse_unit(unit)][1])


def parse_quantity(text: str) -> float:
    """Number with its unit, in the base unit of its dimension.

    Parameters
    ----------
    text : str
        A decimal number with a point, and a unit: ``"0.0001 in"``, ``"63.770 mm"``, ``"-2 thou"``.

    Returns
    -------
    float
        In µm, min or °C, rounded once (the product is formed in decimal).

    Raises
    ------
    UnitError
        There is no number, no unit, an unknown unit, or the number is beyond what can be stored.
    """
    match = _QUANTITY.fullmatch(text)
    if match is None or match.group(2)[0] in ",0123456789":
        raise UnitError(
            text,
            f"cannot read {text!r} as a quantity; write a number with a decimal point and a unit, "
            f"such as 0.0001 in (units: {', '.join(UNITS)})",
        )
    number, spelling = match.groups()
    try:
        unit = parse_unit(spelling)
    except UnitError as wrong:
        raise UnitError(text, f"cannot read {text!r} as a quantity: {wrong}") from None
    value = float(Decimal(number) * _EXACT[unit][1])
    if not math.isfinite(value):
        raise UnitError(text, f"{text!r} is too large to be a measured quantity")
    return value
