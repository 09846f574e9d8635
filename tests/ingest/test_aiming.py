"""What a part too small or too large costs stands in the plan, whatever an operation is called."""

from ingest.plans.model import Costs
from ingest.views.aiming import costs_of
from tests.ingest.small_shop import small_plan


def priced(costs: Costs, kind: str = "size") -> tuple[float, float] | None:
    plan = small_plan()
    feature = next(f for f in plan.features.values() if f.kind == "size" and f.derive is None)
    plan = plan.model_copy(update={"costs": {"F4": costs}})
    return costs_of(plan, feature.model_copy(update={"kind": kind, "operation": "step_nine"}), "F4")


def test_working_a_part_again_costs_what_the_plan_says_of_that_operation() -> None:
    known = Costs(redo={"step_nine": 30.0, "line_hone": 99.0}, scrap=500.0)
    assert priced(known) == (30.0, 500.0)
    # A deck left high is cut again, one cut low is scrap.
    assert priced(known, "height") == (500.0, 30.0)


def test_without_a_price_for_the_operation_nothing_is_taken_from_another() -> None:
    assert priced(Costs(redo={"line_hone": 99.0}, scrap=500.0)) is None
    assert priced(Costs(redo={"step_nine": 30.0})) is None
