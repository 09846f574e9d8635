"""Positions in the words of the shop."""

import pytest

from ingest.plans.file import parse_plan
from ingest.plans.model import Plan
from ingest.plans.places import place_text
from tests.dashboard.paper_shop import PLAN

TEXT = (
    PLAN.replace(
        'direction = ["V", "H"]', 'direction = ["V", "H"]\nacross = ["X", "Y"]\nplace = ["Live end", "Chuck"]'
    )
    + """
[families.VEE]
name = "vee"
axes = { main = ["1", "2"], cylinder = ["1", "2"], deck = ["L", "R"], point = ["1", "2", "3", "4"] }
[families.ROW]
name = "row"
axes = { deck = ["1"], point = ["1", "2", "3", "4"], side_rail = ["F", "R"] }
"""
)


@pytest.fixture(scope="module")
def plan() -> Plan:
    return parse_plan(TEXT, "plan.toml")


@pytest.mark.parametrize(
    ("position", "family", "told"),
    [
        ("deck=L;point=4", "VEE", "left deck, point 4"),
        ("deck=R", "VEE", "right deck"),
        ("deck=1;point=4", "ROW", "point 4"),
        ("deck=1", "ROW", "deck 1"),
        ("deck=1;point=4", None, "deck 1, point 4"),
        ("main=3;direction=V", "FOUR", "main 3 vertical"),
        ("main=1;direction=H", None, "main 1 horizontal"),
        ("cylinder=2;depth=M;across=X", "FOUR", "cylinder 2 middle, across X"),
        ("main=1-2", "FOUR", "mains 1 and 2"),
        ("side_rail=R", "ROW", "rear side rail"),
        ("place=Live end", None, "Live end"),
        ("", "FOUR", ""),
    ],
)
def test_a_position_is_told_as_people_say_it(
    plan: Plan, position: str, family: str | None, told: str
) -> None:
    assert place_text(plan, position, family) == told


def test_no_two_positions_of_a_feature_are_told_alike(plan: Plan) -> None:
    for feature in plan.features:
        for family in plan.families:
            positions = plan.positions(feature, family)
            assert len({place_text(plan, position, family) for position in positions}) == len(positions)


def test_a_letter_keeps_its_own_meaning_where_the_axis_has_others_too(plan: Plan) -> None:
    """Only an axis with exactly top and bottom, or left and right, gives the letters that meaning."""
    other = parse_plan(TEXT.replace('depth = ["T", "M", "B"]', 'depth = ["T", "M", "B", "Z"]'), "plan.toml")
    assert place_text(other, "cylinder=1;depth=T") == "cylinder 1, depth T"
    assert place_text(plan, "cylinder=1;depth=T") == "cylinder 1 top"
