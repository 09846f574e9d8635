"""What bad parts of a machine cost by the plan, as a service case counts them."""

from __future__ import annotations

from ingest.answers.case import CaseFamily
from ingest.plans.model import Costs, Plan
from spc.change.service_money import Doubt, FamilyMoney, Money, Price, service_money

MONTH_DAYS = 365.25 / 12
"""Days of a month, for rates. [days]"""
SHOP = "shop"


def case_money(
    plan: Plan,
    operation: str,
    families: tuple[CaseFamily, ...],
    made: dict[str, int],
    days: int,
    price: float | None,
    down_hours: float | None,
    *,
    done: bool,
) -> tuple[Money | None, str | None]:
    """Cost, saving and payback, or why there are none.

    Parameters
    ----------
    plan : Plan
    operation : str
        What the machine does.
    families : tuple of CaseFamily
        Parts beyond a limit now and then.
    made : dict of str to int
        Parts made in the latest span, by family.
    days : int
        Length of that span.
    price, down_hours : float or None
    done : bool
        The service has been done.

    Returns
    -------
    money : Money or None
    reason : str or None
        One of the two is None.
    """
    shop = plan.costs.get(SHOP)
    shares = shop.shares if shop is not None else None
    if price is None:
        return None, "Nobody has said what the service costs: no invoice or quote is known."
    if not shares:
        return (
            None,
            "The plan does not say what becomes of a bad part (costs.shop, shares): no cost can be told.",
        )
    told = []
    for f in families:
        if f.of_now < 1 or f.of_then < 1:
            continue
        costs = plan.costs.get(f.family)
        redo = costs.redo.get(operation) if costs is not None else None
        if costs is None or redo is None or costs.scrap is None:
            return None, (
                f"The plan does not say what a bad part of {f.family_name} costs (costs.{f.family}: redo.{operation} "
                "and scrap): no cost can be told."
            )
        chance = costs.comeback_chance or (0.0, 0.0)
        told.append(
            FamilyMoney(
                name=f.family,
                parts=made.get(f.family, 0),
                months=days / MONTH_DAYS,
                out_now=f.out_now,
                of_now=f.of_now,
                out_then=f.out_then,
                of_then=f.of_then,
                redo=redo,
                scrap=costs.scrap,
                comeback=costs.comeback_cost or 0.0,
                comeback_chance=(min(chance), max(chance)),
            )
        )
    if not told:
        return None, "No family was made both before and after: nothing can be counted."
    hours = down_hours or 0.0
    margin = (shop.margin_per_hour if shop is not None else None) or 0.0
    ways = {way: shares.get(way, 0.0) for way in ("rehone", "scrap", "unnoticed")}
    asked = Price(price, hours, margin, done)
    if asked.total <= 0:
        return None, "The service cost nothing: there is no payback to tell."
    return service_money(tuple(told), asked, ways, doubt=_doubt(shop)), None


def _doubt(shop: Costs | None) -> Doubt:
    """How well the figures are known, by the plan where it says so and as assumed where it does not."""
    told = Doubt()
    if shop is None:
        return told
    return Doubt(
        amounts=told.amounts if shop.amounts_within is None else shop.amounts_within,
        followed=told.followed if shop.followed_up is None else shop.followed_up,
        cure=told.cure if shop.cure is None else (shop.cure[0], shop.cure[1]),
    )
