"""A service case in words: the verdict, what was found, what it saves, what the data cannot tell."""

from __future__ import annotations

import math

from dashboard.reports.month_words import share_text
from dashboard.words.amounts import amount, count, day
from dashboard.words.sentences import named
from ingest.answers.case import CaseEffect, CaseShare, ServiceCase
from ingest.plans.model import Plan
from spc.change.service_money import Ranged3


def money_text(value: float) -> str:
    """An amount of money to two figures, as sure as it can be."""
    if not math.isfinite(value):
        return "–"
    if value == 0:
        return "0"
    places = max(0, math.floor(math.log10(abs(value))) - 1)
    return f"{round(value, -places):,.0f}".replace("-", "\u2212")


def months_text(value: float) -> str:
    """A payback: days under a month, tenths of a month up to ten, then whole ones; ``more than 10 years`` at most."""
    if math.isinf(value) or value > 120:
        return "more than 10 years"
    if value > 36:
        return f"{value / 12:.0f} years"
    if value < 1:
        return f"{max(1.0, 30.4 * value):.0f} days"
    return f"{value:.0f} months" if value >= 10 else f"{value:.1f} months"


def chance_text(chance: float) -> str:
    """A chance in whole per cent, never 0 or 100."""
    if chance > 0.995:
        return "over 99 %"
    return "under 1 %" if chance < 0.005 else f"{100 * chance:.0f} %"


def range_text(told: Ranged3, one: str = "") -> str:
    """Middle with the range that holds 8 of 10: ``12 (9.3 to 16) blocks``."""

    def shown(v: float) -> str:
        return f"{v:.0f}" if v >= 10 else f"{v:.1f}"

    return f"{shown(told.p50)} ({shown(told.p10)} to {shown(told.p90)}){one}"


def part_share(share: CaseShare | None) -> str:
    """Blocks out of tolerance in some days, with the exact interval."""
    if share is None or share.share is None:
        return "no block judged"
    return (
        f"{share.out} of {count(share.parts, 'block')}, {share_text(share.share.estimate)} "
        f"({share_text(share.share.lower)} to {share_text(share.share.upper)})"
    )


def change_text(found: CaseEffect) -> str:
    """What happened to the level of a feature, with its interval."""
    level = found.effect.level
    if level is None:
        return found.effect.reason or "not compared"
    d = level.difference
    if found.log:
        middle, low, high = (f"{100 * math.expm1(v):+.0f}" for v in (d.estimate, d.lower, d.upper))
        return f"{middle} % ({low} to {high} %)"
    low, high = (amount(v, found.display, found.decimals, signed=True) for v in (d.lower, d.upper))
    return f"{amount(d.estimate, found.display, found.decimals, signed=True)} ({low} to {high})"


def found_text(found: CaseEffect) -> str:
    """What stands out of a feature: its level, its places against one another, or else its spread."""
    told = [f"level {change_text(found)}"] if found.effect.level_found else []
    if found.effect.pattern_found:
        told.append("the places of a block moved against one another")
    return "; ".join(told) or f"spread {ratio_text(found)}"


def missed_text(found: CaseEffect) -> str:
    """The smallest change of level that would have been found 8 times in 10."""
    level = found.effect.level
    if level is None:
        return "–"
    if found.log:
        return f"{100 * math.expm1(level.smallest_seen):.0f} %"
    return amount(level.smallest_seen, found.display, found.decimals)


def ratio_text(found: CaseEffect) -> str:
    """Spread after over spread before, with its interval."""
    spread = found.effect.spread
    if spread is None:
        return "–"
    return f"{spread.ratio.estimate:.2f} ({spread.ratio.lower:.2f} to {spread.ratio.upper:.2f}) times"


def pattern_text(found: CaseEffect) -> str:
    """Whether the places of a block moved against one another."""
    if found.effect.pattern is None:
        return "–"
    return "changed" if found.effect.pattern_found else "no change seen"


def control_text(found: CaseEffect) -> str:
    """The same feature elsewhere in the same weeks."""
    told = []
    for control in found.controls:
        d = control.difference
        if d is None:
            told.append(f"{control.machine}: not compared")
        elif found.log:
            told.append(
                f"{control.machine}: {100 * math.expm1(d.lower):+.0f} to {100 * math.expm1(d.upper):+.0f} %"
            )
        else:
            low, high = (amount(v, found.display, found.decimals, signed=True) for v in (d.lower, d.upper))
            told.append(f"{control.machine}: {low} to {high}")
    return "; ".join(told) or "no other machine makes it"


def verdict_text(case: ServiceCase) -> str:
    """The answer in one or two sentences."""
    machine = named(case.machine, case.machine_name)
    if case.verdict == "gauge":
        return f"{machine} is a gauge: its repair changes what is read, not what is made. No machine is credited."
    if case.event is not None:
        what = f"{case.event.kind_name} on {day(case.event.time)}"
        if case.verdict == "too early":
            return f"Too early to say what {what} did: too few blocks have been made since."
        if case.verdict == "no effect":
            missed = [
                f"{missed_text(e)} in {e.feature_name}" for e in case.effects if e.effect.level is not None
            ][:2]
            return (
                f"No effect found of {what}: nothing on {machine} moved at that day by more than noise. It could have "
                f"missed a change of up to {' and '.join(missed)}."
            )
        names = [e.feature_name for e in case.effects if e.effect.found]
        paid = f" It has paid after {months_text(case.money.payback.p50)}." if case.money is not None else ""
        return f"{what[:1].upper() + what[1:]} changed {_listed(names)} on {machine}.{paid}"
    if case.verdict == "no signal":
        tools = (
            f" What has gone off there ({_listed(list(case.of_tools))}) is made by its tool: "
            "dress or change that first."
            if case.of_tools
            else ""
        )
        return (
            f"No case can be made for a service of {machine}: nothing says that it has itself changed.{tools}"
        )
    if case.verdict == "no risk":
        return (
            f"{machine} has changed, but no more of its blocks are out of tolerance than before as far as can be told: "
            "a service would save nothing that can be counted yet."
        )
    if case.money is None:
        return f"{machine} has changed and makes more blocks out of tolerance than before."
    return (
        f"A service of {machine} would pay back in about {months_text(case.money.payback.p50)} "
        f"({months_text(case.money.payback.p10)} to {months_text(case.money.payback.p90)})."
    )


def _listed(names: list[str]) -> str:
    once = list(dict.fromkeys(names))
    return ", ".join(once[:-1]) + (" and " if len(once) > 1 else "") + once[-1] if once else "nothing"


def _source(plan: Plan, key: str) -> str:
    """Where a figure that nobody counted comes from."""
    shop = plan.costs.get("shop")
    given = shop is not None and getattr(shop, key) is not None
    return "by the plan" if given else f"assumed; the plan can say it: costs.shop, {key}"


def cannot_tell(case: ServiceCase, plan: Plan) -> list[str]:
    """What the data cannot tell, and what was assumed instead."""
    told = []
    if case.event is not None:
        told.append(
            "What else was done on that day or in those weeks and not logged. The other machines of the same operation "
            "are shown beside it; weather and material would have moved them too."
        )
        told.append(
            "A drift that went on through the service is taken out as one slope; a drift that only the service ended "
            "counts as part of its effect."
        )
    else:
        cure = case.money.doubt.cure if case.money is not None else None
        told.append(
            "Whether the service cures what is seen. It can at best bring back what the machine did before it changed"
            + (
                f"; counted is {100 * cure[0]:.0f} to {100 * cure[1]:.0f} % of the gap ({_source(plan, 'cure')})."
                if cure is not None
                else "."
            )
        )
        told.append(
            "How it goes on without a service. The cost of waiting is counted as it is now, not as it may become."
        )
    if case.touched:
        names = ", ".join(named(g, plan.gauges[g].name) for g in case.touched)
        told.append(
            f"Sizes read with {names}: repaired or in doubt in those weeks, so they are left out. Differences within a "
            "block (taper, out-of-round) do not suffer from it."
        )
    for family in case.families:
        if not (family.of_now and family.of_then):
            told.append(f"{family.family_name}: made on one side only, so it says nothing here.")
    if case.money is not None:
        told.append(
            f"The amounts better than by {100 * case.money.doubt.amounts:.0f} % either way "
            f"({_source(plan, 'amounts_within')}), and what becomes of a bad block better than "
            f"{case.money.doubt.followed:.0f} followed-up blocks would show ({_source(plan, 'followed_up')})."
        )
    told.append(
        "Whether any block may be used: that is for the maker's specification and the shop's qualified sign-off."
    )
    return told
