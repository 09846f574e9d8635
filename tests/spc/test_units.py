"""Units: spellings, exact factors, and refusals that name what is legal."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.units import FACTORS, UNITS, UnitError, dimension, from_base, parse_quantity, parse_unit, to_base


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("IN", "in"),
        ("inch", "in"),
        ("inches", "in"),
        ('"', "in"),
        ("in.", "in"),
        ("mil", "thou"),
        ("Thou", "thou"),
        ("\u00b5m", "um"),
        ("\u03bcm", "um"),
        ("micron", "um"),
        ("MICRONS", "um"),
        ("\u00b5in", "uin"),
        ("\u03bcin.", "uin"),
        ("micro-inch", "uin"),
        ("microinches", "uin"),
        (" mm ", "mm"),
        ("MM", "mm"),
        ("millimetres", "mm"),
        ("min", "min"),
        ("°C", "degC"),
        ("degc", "degC"),
    ],
)
def test_spellings_of_people_and_gauges(text, unit):
    assert parse_unit(text) == unit


@pytest.mark.parametrize("text", ["", "tenths", "m", "Ra", "furlong", "inchs", "mm2", "1"])
def test_an_unknown_unit_is_refused_and_the_legal_ones_named(text):
    with pytest.raises(UnitError) as refusal:
        parse_unit(text)
    assert refusal.value.text == text
    assert all(unit in str(refusal.value) for unit in UNITS)


def test_factors_of_length_by_definition_of_the_inch():
    assert dict(FACTORS) == {"in": 25_400.0, "thou": 25.4, "uin": 0.0254, "mm": 1_000.0, "um": 1.0}


def test_dimensions():
    assert [dimension(unit) for unit in ("thou", "min", "degC")] == ["length", "time", "temperature"]


@pytest.mark.parametrize(
    ("text", "base"),
    [
        ("0.0001 in", 2.54),
        ("0.0001in", 2.54),
        ("63.770 mm", 63_770.0),
        ("-2 thou", -50.8),
        ("+.5 um", 0.5),
        ("1e-3 in", 25.4),
        ("20 µin", 0.508),
        ("7 min", 7.0),
        ("20 °C", 20.0),
        ('0.5"', 12_700.0),
    ],
)
def test_quantities_are_converted_without_a_rounding_on_the_way(text, base):
    assert parse_quantity(text) == base


@pytest.mark.parametrize(
    "text", ["63,77 mm", "5", "mm", "", "nan in", "inf mm", "1e999 in", "3 furlong", "1 2 mm"]
)
def test_what_cannot_be_read_as_a_quantity_is_refused(text):
    with pytest.raises(UnitError) as refusal:
        parse_quantity(text)
    assert repr(text) in str(refusal.value)


def test_a_decimal_comma_is_named_as_such():
    with pytest.raises(UnitError, match="decimal point"):
        parse_quantity("63,77 mm")


@given(st.floats(-1e9, 1e9), st.sampled_from(UNITS))
def test_there_and_back(value, unit):
    assert from_base(to_base(value, unit), unit) == pytest.approx(value, rel=1e-15, abs=1e-300)


def test_arrays_keep_their_shape():
    values = np.array([[0.001, 0.002], [np.nan, 1.0]])
    assert to_base(values, "in") == pytest.approx(values * 25_400, nan_ok=True)
    assert from_base(to_base(values, "in"), "thou") == pytest.approx(values * 1_000, nan_ok=True)
