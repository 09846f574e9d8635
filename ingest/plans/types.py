"""Small values of a plan: quantities with a unit, times of day, lists."""

from __future__ import annotations

import re
from datetime import time
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict

from spc.units import UnitError, dimension, parse_quantity, parse_unit


class Entry(BaseModel):
    """One table of the plan: no unknown keys, no silent conversions, never changed after loading."""

    model_config = ConfigDict(
        strict=True, extra="forbid", frozen=True, populate_by_name=True, arbitrary_types_allowed=True
    )


class Quantity(float):
    """A length, time or temperature in its base unit that remembers how it was written.

    Attributes
    ----------
    text : str
        As it stands in the plan, e.g. ``"0.0001 in"``.
    dimension : str
        ``length``, ``time`` or ``temperature``.
    """

    text: str
    dimension: str

    @classmethod
    def read(cls, text: str) -> Quantity:
        """Read ``"63.770 mm"``; raises `spc.units.UnitError` when number or unit is not understood."""
        value = cls(parse_quantity(text))
        value.text = text
        value.dimension = dimension(_unit_of(text))
        return value


def _unit_of(text: str) -> str:
    match = re.match(r"\s*[+-]?[0-9.]+(?:[eE][+-]?\d+)?\s*(.*?)\s*$", text)
    return match.group(1) if match else text


def _quantity(given: Any) -> Any:
    if isinstance(given, Quantity):
        return given
    if not isinstance(given, str):
        raise ValueError('write number and unit between quotes, e.g. "0.05 mm"')
    try:
        return Quantity.read(given)
    except UnitError as error:
        raise ValueError(f'{error}; write number and unit, e.g. "0.05 mm"') from None


def _time_of_day(given: Any) -> Any:
    if isinstance(given, time):
        return given
    match = re.fullmatch(r"([01]\d|2[0-3]):([0-5]\d)", given) if isinstance(given, str) else None
    if match is None:
        raise ValueError('write a time of day as "07:00", from "00:00" to "23:59"')
    return time(int(match.group(1)), int(match.group(2)))


def _tuple(given: Any) -> Any:
    return tuple(given) if isinstance(given, list) else given


def _one_or_more(given: Any) -> Any:
    return (given,) if isinstance(given, str) else _tuple(given)


def _unit(given: Any) -> Any:
    if not isinstance(given, str):
        raise ValueError("write the unit between quotes")
    try:
        return parse_unit(given)
    except UnitError as error:
        raise ValueError(str(error)) from None


def _regex(given: Any) -> Any:
    if isinstance(given, str):
        try:
            re.compile(given)
        except re.error as error:
            raise ValueError(f"this is not a regular expression: {error}") from None
    return given


Texts = Annotated[tuple[str, ...], BeforeValidator(_tuple)]
"""A TOML list of texts."""
OneOrMore = Annotated[tuple[str, ...], BeforeValidator(_one_or_more)]
"""A text, or a list of texts."""
Amounts = Annotated[tuple[float, ...], BeforeValidator(_tuple)]
Length = Annotated[Quantity, BeforeValidator(_quantity)]
Unit = Annotated[str, BeforeValidator(_unit)]
TimeOfDay = Annotated[time, BeforeValidator(_time_of_day)]
Pattern = Annotated[str, BeforeValidator(_regex)]
