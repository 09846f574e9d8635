"""Roots by halving: many at once, to the last digits, from either end."""

import numpy as np
import pytest

from spc.halving import halve


def test_many_roots_are_found_at_once():
    wanted = np.array([0.0, 1.0, 2.0, 1e6])
    found = halve(lambda at: at**3 < wanted, np.zeros(4), np.full(4, 200.0))
    assert found == pytest.approx(np.cbrt(wanted), rel=1e-12, abs=1e-12)


def test_a_root_at_an_end_is_that_end_and_the_ends_given_stay_as_they_are():
    low, high = np.array([-1.0]), np.array([1.0])
    assert halve(lambda at: at < -1.0, low, high) == pytest.approx([-1.0])
    assert halve(lambda at: at < 5.0, low, high) == pytest.approx([1.0])
    assert (low[0], high[0]) == (-1.0, 1.0)
