"""A value on its limit is within it, however its unit was converted."""

from hypothesis import example, given
from hypothesis import strategies as st

from ingest.views.part import side
from spc.units import parse_quantity, to_base

UNITS = st.sampled_from(["in", "thou", "uin", "mm", "um"])


@example(text="0.122", unit="in")
@example(text="62.995", unit="thou")
@given(text=st.decimals("0.0001", "9999", places=4).map(str), unit=UNITS)
def test_a_reading_that_is_the_limit_is_not_beyond_it(text: str, unit: str) -> None:
    limit, value = parse_quantity(f"{text} {unit}"), to_base(float(text), unit)
    assert side(value, limit, None, False) is None
    assert side(value, None, limit, False) is None


def test_a_reading_a_millionth_of_an_inch_beyond_is_beyond() -> None:
    limit = parse_quantity("0.122 in")
    assert side(limit - to_base(1.0, "uin"), limit, None, False) == "below"
    assert side(limit + to_base(1.0, "uin"), None, limit, False) == "above"
