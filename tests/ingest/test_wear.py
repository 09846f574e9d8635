"""Tool lives are counted over every part the machine made, in the unit of the renewal."""

import numpy as np
import pandas as pd
import pytest

from ingest.assessing.forecast import _whole_parts
from ingest.assessing.lives import lives_of
from tests.ingest.small_shop import small_plan

RENEWAL = small_plan().renewals[0]


def times(*texts: str) -> pd.Series:
    return pd.Series(pd.to_datetime(list(texts)).astype("datetime64[us]"))


def uses(*rows: tuple[str, str, str, str]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=["machine", "operation", "when", "family"])
    return table.assign(when=pd.to_datetime(table["when"]).astype("datetime64[us]"))


def fitted(*rows: tuple[str, str, str, str | None]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=["target", "kind", "time", "tool"])
    return table.assign(time=pd.to_datetime(table["time"]).astype("datetime64[us]"))


def test_uses_count_the_bores_of_every_part_and_start_again_at_a_renewal() -> None:
    made = uses(
        ("H1", "hone", "2025-01-06 09:00", "F4"),
        ("H1", "hone", "2025-01-06 10:00", "F6"),
        ("H2", "hone", "2025-01-06 11:00", "F6"),  # another machine
        ("H1", "hone", "2025-01-07 09:00", "F4"),
        ("H1", "hone", "2025-01-07 11:00", "F4"),
    )
    changed = fitted(("H1", "stones", "2025-01-06 08:00", "K-1"), ("H1", "stones", "2025-01-07 10:00", "K-2"))
    lives = lives_of(small_plan(), RENEWAL, made, changed)
    life, wear = lives.at(made["when"].to_numpy()[[0, 1, 3, 4]])
    np.testing.assert_array_equal(life, [0, 0, 0, 1])
    np.testing.assert_array_equal(wear, [0, 4, 10, 0])
    assert lives.tools == ("K-1", "K-2")


def test_before_the_first_known_renewal_there_is_no_life() -> None:
    made = uses(("H1", "hone", "2025-01-06 09:00", "F4"))
    life, wear = lives_of(small_plan(), RENEWAL, made, fitted()).at(made["when"].to_numpy())
    assert life[0] == -1
    assert wear[0] == 0


def test_an_event_of_another_kind_or_machine_begins_no_life() -> None:
    made = uses(("H1", "hone", "2025-01-06 09:00", "F4"))
    other = fitted(("H2", "stones", "2025-01-06 08:00", None), ("H1", "service", "2025-01-06 08:00", None))
    life, _ = lives_of(small_plan(), RENEWAL, made, other).at(made["when"].to_numpy())
    assert life[0] == -1


@pytest.mark.parametrize("crossing", [0.0, 0.5, 2.5, 4.0, 4.5, 6.0, 17.9])
def test_what_is_left_are_the_uses_of_the_parts_that_are_expected_inside(crossing: float) -> None:
    """Counted one by one: a part of four bores at 0, 4, 8 ... is inside when the line has not crossed there yet."""
    inside = [at for at in range(0, 100, 4) if at < crossing]
    assert _whole_parts(crossing, 4.0) == 4.0 * len(inside)
    assert _whole_parts(None, 4.0) is None
