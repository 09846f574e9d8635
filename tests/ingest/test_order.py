"""The order of rows that stand equally: one machine together, the row that tells most on top."""

from dataclasses import replace
from datetime import date

from ingest.answers.processes import BeyondFact, BoardRow
from ingest.assessing.states import board_rows
from tests.ingest.test_states import CALENDAR, NOON, PLAN, SIGNAL, state

SURE = replace(SIGNAL, chance_days=36525.0)
BEYOND = BeyondFact("size", 7, 40, 0, 7, date(2025, 3, 27), -4.0)


def listed(*states: object) -> list[str]:
    given = {s.process: s for s in states}  # type: ignore[attr-defined]
    rows: list[BoardRow] = board_rows(PLAN, CALENDAR, given, NOON)
    return [row.process for row in rows]


def test_among_equals_a_moved_level_stands_above_a_wider_spread_of_the_same_machine() -> None:
    newer = replace(SURE, monitor="scatter", since=date(2025, 3, 24))
    assert listed(
        state("H1/hone/size", signals=(newer,)), state("H1/hone/taper", signals=(SURE,))
    ) == ["H1/hone/taper", "H1/hone/size"]  # fmt: skip


def test_among_equals_the_rows_of_one_machine_stand_together() -> None:
    newest = replace(SURE, since=date(2025, 3, 26))
    between = replace(SURE, since=date(2025, 3, 23))
    assert listed(
        state("H1/hone/size", signals=(newest,)),
        state("H2/hone/size", signals=(between,)),
        state("H1/hone/taper", signals=(SURE,)),
    ) == ["H1/hone/size", "H1/hone/taper", "H2/hone/size"]


def test_what_chance_shows_more_seldom_stands_first_whatever_the_machine() -> None:
    weaker = replace(SURE, chance_days=900.0)
    assert listed(
        state("H1/hone/size", signals=(SURE,)),
        state("H1/hone/taper", signals=(weaker,)),
        state("H2/hone/size", signals=(SURE,)),
    ) == ["H1/hone/size", "H2/hone/size", "H1/hone/taper"]


def test_a_process_that_holds_with_parts_beyond_a_limit_stands_above_those_that_hold_well() -> None:
    cleared = replace(SIGNAL, status="cleared")
    assert listed(
        state("H1/hone/size"),
        state("H2/hone/size", beyond=BEYOND),
        state("H1/hone/taper", signals=(cleared,)),
    ) == ["H1/hone/taper", "H2/hone/size", "H1/hone/size"]


def test_a_row_names_the_feature_of_its_own_readings_that_is_still_off() -> None:
    gone = replace(SIGNAL, status="back")
    given = [
        state("H1/hone/size", signals=(gone,)),
        state("H1/hone/taper", signals=(SIGNAL,)),
        state("H2/hone/size", signals=(gone,)),
    ]
    rows = {row.process: row for row in board_rows(PLAN, CALENDAR, {s.process: s for s in given}, NOON)}
    assert rows["H1/hone/size"].beside == PLAN.features["taper"].name
    assert rows["H1/hone/taper"].beside is None and rows["H2/hone/size"].beside is None
