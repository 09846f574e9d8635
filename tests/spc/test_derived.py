"""Differences, steps and ranges over the positions of a part."""

from __future__ import annotations

import numpy as np
import pytest

from spc.derived import difference, named_labels, spread_range, steps
from spc.errors import SpcError

MAIN = ["1", "1", "2", "2", "3", "3"]
WAY = ["V", "H"] * 3
LABELS = {"main": MAIN, "direction": WAY}
PART = np.array([[1.0, 0.0, 5.0, 2.0, 9.0, 3.0]])


def test_out_of_round_of_every_main_keeps_its_sign():
    found = difference(PART, LABELS, "direction", ["V"], ["H"], keep=["main"])
    assert found.values.tolist() == [[1.0, 3.0, 6.0]]
    assert found.positions == {"main": ("1", "2", "3")}
    turned = difference(PART, LABELS, "direction", ["H"], ["V"], keep=["main"])
    assert turned.values.tolist() == [[-1.0, -3.0, -6.0]]


def test_ends_against_the_inner_ones_averages_both_directions():
    found = difference(PART, LABELS, "main", ["first", "last"], ["inner"])
    # V: (1 + 9) / 2 - 5 = 0;  H: (0 + 3) / 2 - 2 = -0.5
    assert found.values.tolist() == [[-0.25]]
    assert found.positions == {}


def test_steps_go_from_neighbour_to_neighbour():
    found = steps(PART, LABELS, "main")
    # V: 4, 4;  H: 2, 1
    assert found.values.tolist() == [[3.0, 2.5]]
    assert found.positions == {"main": ("1-2", "2-3")}


def test_steps_per_kept_axis():
    found = steps(PART, LABELS, "main", keep=["direction"])
    assert found.values.tolist() == [[4.0, 4.0, 2.0, 1.0]]
    assert found.positions == {"direction": ("V", "V", "H", "H"), "main": ("1-2", "2-3", "1-2", "2-3")}


def test_range_over_the_part_and_over_a_kept_axis():
    assert spread_range(PART, LABELS).values.tolist() == [[9.0]]
    assert spread_range(PART, LABELS, keep=["main"]).values.tolist() == [[1.0, 3.0, 6.0]]


def test_order_of_an_axis_may_be_given():
    found = steps(PART, LABELS, "main", order=["3", "2", "1"])
    assert found.values.tolist() == [[-2.5, -3.0]]
    first = difference(PART, LABELS, "main", ["first"], ["last"], order=["3", "2", "1"])
    assert first.values.tolist() == [[(9 - 1 + 3 - 0) / 2]]


def test_a_missing_reading_takes_its_set_out_and_nothing_else():
    y = np.repeat(PART, 3, axis=0)
    y[1, 1] = np.nan
    y[2, :2] = np.nan
    round_ = difference(y, LABELS, "direction", ["V"], ["H"], keep=["main"]).values
    assert np.isnan(round_[1, 0]) and round_[1, 1:].tolist() == [3.0, 6.0]
    ends = difference(y, LABELS, "main", ["first", "last"], ["inner"]).values
    # Part 1 lacks H on main 1: the V set alone is left. Part 2 lacks both.
    assert ends[1].tolist() == [0.0]
    assert np.isnan(ends[2, 0])
    assert np.isnan(spread_range(y, LABELS).values[1, 0])


def test_a_common_level_does_not_enter_a_difference_and_a_unit_scales_it():
    rng = np.random.default_rng(2)
    y = rng.normal(size=(20, 6))
    plain = difference(y, LABELS, "direction", ["V"], ["H"], keep=["main"]).values
    raised = difference(y + rng.normal(size=(20, 1)), LABELS, "direction", ["V"], ["H"], keep=["main"]).values
    assert raised == pytest.approx(plain, abs=1e-12)
    assert difference(25.4 * y, LABELS, "direction", ["V"], ["H"]).values == pytest.approx(
        25.4 * difference(y, LABELS, "direction", ["V"], ["H"]).values
    )


def test_the_order_of_columns_does_not_matter():
    rng = np.random.default_rng(3)
    y, turn = rng.normal(size=(5, 6)), rng.permutation(6)
    labels = {axis: [values[i] for i in turn] for axis, values in LABELS.items()}
    for keep in ([], ["main"]):
        one = difference(y, LABELS, "direction", ["V"], ["H"], keep=keep)
        other = difference(y[:, turn], labels, "direction", ["V"], ["H"], keep=keep)
        assert np.sort(one.values, axis=1) == pytest.approx(np.sort(other.values, axis=1))


def test_named_labels_follow_the_axis():
    assert named_labels(["first", "last"], ["1", "2", "3", "4"]) == ("1", "4")
    assert named_labels(["inner"], ["1", "2", "3", "4"]) == ("2", "3")
    assert named_labels(["3", "first"], ["1", "2", "3"]) == ("1", "3")


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: difference(PART, LABELS, "depth", ["T"], ["B"]), "unknown axis 'depth'.*main, direction"),
        (lambda: difference(PART, LABELS, "direction", ["V"], ["X"]), "'X' stands for no label.*V, H"),
        (lambda: difference(PART, LABELS, "direction", ["V"], ["V"]), "both sides"),
        (lambda: difference(PART, LABELS, "direction", ["V"], ["H"], keep=["direction"]), "cannot be kept"),
        (lambda: difference(PART, LABELS, "main", ["1"], ["2"], keep=["bank"]), "unknown axis 'bank'"),
        (lambda: steps(PART[:, :2], {"main": ["1", "1"], "direction": ["V", "H"]}, "main"), "no neighbour"),
        (lambda: steps(PART[:, [0, 3]], {"main": ["1", "2"], "direction": ["V", "H"]}, "main"), "no set"),
        (lambda: difference(PART, {"main": MAIN[:3]}, "main", ["1"], ["2"]), "labels 3 positions"),
        (lambda: spread_range(PART[0], LABELS), "table of parts by positions"),
        (lambda: named_labels(["inner"], ["1", "2"]), "stands for no label"),
    ],
)
def test_what_cannot_be_formed_is_named(call, says):
    with pytest.raises(SpcError, match=says):
        call()
