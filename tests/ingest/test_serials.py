"""Slips in serials are suggested, never put right, and running numbers are never taken for slips."""

from hypothesis import given
from hypothesis import strategies as st

from ingest.plans.serials import unknown_serials

PATTERN = r"QB-\d{2}-\d{4}"


def test_letter_for_digit_is_suggested() -> None:
    assert unknown_serials(["QB-25-O512"], ["QB-25-0512", "QB-25-0513"], PATTERN) == {
        "QB-25-O512": "QB-25-0512"
    }


def test_one_character_too_many_is_suggested_when_only_one_serial_is_near() -> None:
    assert unknown_serials(["QB-25-05l23"], ["QB-25-0513", "QB-25-0777"], PATTERN) == {"QB-25-05l23": None}
    assert unknown_serials(["QB-25-07777"], ["QB-25-0513", "QB-25-0777"], PATTERN) == {
        "QB-25-07777": "QB-25-0777"
    }


def test_two_candidates_give_no_suggestion() -> None:
    assert unknown_serials(["QB-25-05x2"], ["QB-25-0512", "QB-25-0522"], PATTERN) == {"QB-25-05x2": None}


def test_without_a_pattern_only_look_alikes_of_listed_serials_are_doubted() -> None:
    assert unknown_serials(["A1B", "AIB", "A2C"], ["A1B"], None) == {"AIB": "A1B"}


@given(st.sets(st.integers(0, 9999), min_size=1, max_size=30), st.sets(st.integers(0, 9999), max_size=30))
def test_serials_that_keep_the_pattern_are_never_doubted(seen: set[int], listed: set[int]) -> None:
    assert not unknown_serials([f"QB-25-{n:04d}" for n in seen], [f"QB-25-{n:04d}" for n in listed], PATTERN)
