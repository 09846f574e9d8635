"""Parts of *A process*: what may stand behind a signal, how much is left of its tool, where to aim."""

from __future__ import annotations

import math
from collections.abc import Sequence

from markupsafe import Markup

from dashboard.desk import Desk
from dashboard.markup import join, table, tag
from dashboard.words.amounts import amount, day, size
from dashboard.words.causes import apart_texts, fit_text
from dashboard.words.left import about, left_text
from dashboard.words.wear import CAUTION, beside_text, faster_text, limit_text, missed_text, set_text
from ingest.answers.processes import BoardRow, CauseFact
from ingest.answers.wear import AimFact, StartFact


def _cause(cause: CauseFact) -> Markup:
    def told(title: str, texts: tuple[str, ...]) -> Markup | None:
        return tag("p", tag("b", title), "; ".join(texts), ".") if texts else None

    return tag(
        "li",
        tag("p", tag("b", cause.name[:1].upper() + cause.name[1:]), f": {fit_text(cause)}."),
        told("For it: ", cause.speaks_for),
        told("Against it: ", cause.speaks_against),
        tag("p", tag("b", "To confirm: "), cause.check, "."),
        class_="signal",
    )


def causes_part(desk: Desk, row: BoardRow) -> Markup:
    """What may stand behind the first open signal; empty without one."""
    if not row.open_signals:
        return Markup("")
    causes, apart = desk.remember(("causes", row.process), lambda: desk.shop.causes(row.process)) or (
        row.causes,
        row.apart,
    )
    none = tag("p", "None of the known faults fits what was seen better than something else.", class_="empty")
    return join(
        (
            tag("h2", "What may stand behind it?"),
            tag("p", "Suggestions, the likeliest first, from what the readings show. Only a look at the machine can "
                "tell; lock out and tag out before working on it.", class_="hint"),
            tag("ol", [_cause(cause) for cause in causes], class_="signals") if causes else none,
            tag("ul", [tag("li", text) for text in apart_texts(apart)], class_="plain notes") if apart else None,
        )
    )  # fmt: skip


def day_part(desk: Desk, row: BoardRow) -> Markup:
    """That the first block of a day stands apart; empty where it does not, and for gauges."""
    found = None if row.is_gauge else desk.remember(
        ("first", row.process), lambda: desk.shop.first_of_day(row.process)
    )  # fmt: skip
    if found is None:
        return Markup("")

    def told(value: float) -> str:
        if row.log:
            return f"{100 * (math.exp(value) - 1):+.0f} %"
        return amount(value, row.display, row.decimals, signed=True)

    people = {
        True: "Among the later blocks it also differs by who measured: compare people on the same blocks first.",
        False: "Among the later blocks it does not differ by who measured, so it goes with the hour and not with a "
        "person.",
        None: "Its readings do not name enough people to tell the hour from the person who opens the shop.",
    }
    return join(
        (
            tag("h2", "Is the first block of a day different?"),
            tag("p", f"Yes: by {told(found.gap)} on average ({told(found.low)} to {told(found.high)}, from "
                f"{found.days} days since {day(found.since)}).", class_="why"),
            tag("p", people[found.by_person]),
            tag("p", "A machine that cuts cold looks so: run it warm before the first cut of a day and compare.",
                class_="hint"),
        )
    )  # fmt: skip


def beside_part(desk: Desk, row: BoardRow) -> Markup | None:
    """What else the set makes, and whether it bears out what is said of its wear."""
    found = desk.remember(("beside", row.process), lambda: desk.shop.companions(row.process))
    text = beside_text(row.left, found) if row.left is not None and found else ""
    return tag("p", text, class_="facts") if text else None


def wear_part(desk: Desk, row: BoardRow) -> Markup:
    """How much is left of the tool; empty for a process without one."""
    left = row.left
    if left is None:
        return Markup("")
    before = limit_text(row, desk.shop.plan)
    text = left_text(left)
    starts = desk.remember(("starts", row.process), lambda: desk.shop.starts(row.process))
    return join(
        (
            tag("h2", f"How much is left of the {left.renewal}?"),
            tag("p", set_text(left), ": ", text, f" before {before}" if before else "", ".", class_="why"),
            tag("p", faster_text(left), class_="why") if left.faster else None,
            beside_part(desk, row),
            tag("p", missed_text(left), class_="why") if left.renewed_at is not None else None,
            [tag("p", text) for text in _starts(desk, row, starts)],
            tag("p", tag("a", "This set on the earlier ones, and how good such forecasts were",
                         href=f"/stones/{row.process}")),
            tag("p", CAUTION, class_="caution-here"),
        )
    )  # fmt: skip


def _starts(desk: Desk, row: BoardRow, starts: Sequence[StartFact]) -> list[str]:
    """One sentence for all families that have the same answer."""
    unit = row.left.unit if row.left is not None else "uses"
    families = desk.shop.plan.families

    def shown(value: float) -> str:
        return amount(value, row.display, row.decimals)

    said: dict[str, list[str]] = {}
    for one in starts:
        usual = f"Sets usually start at about {shown(one.usual_start)}."
        if one.uses is None:
            text = (
                f"a set lasts longest if it starts at about {shown(one.start)}: at its usual wear it would be at about "
                f"{shown(one.end)}, still well inside, after {one.longest:.0f} {unit}, the most that any set has done. "
                f"What comes after that nobody has seen, so no number is said. {usual}"
            )
        else:
            text = (
                f"at its usual wear a set would last longest, about {about(one.uses)} {unit}, if it started at about "
                f"{shown(one.start)} and was renewed at about {shown(one.end)}. {usual}"
            )
        name = families[one.family].name if one.family in families else one.family
        said.setdefault(text, []).append(name)
    return [f"{' and '.join(names)}: {text}" for text, names in said.items()]


def aim_part(desk: Desk, row: BoardRow) -> Markup:
    """Where to aim, by family, with what a thou either way costs; empty where the plan does not say enough."""
    found = desk.remember(("aims", row.process), lambda: desk.shop.aims(row.process))
    if not found:
        return Markup("")
    rows = [_aim_row(desk, row, one) for one in found]
    small, large = ("scrap", "worked again") if row.feature_kind == "height" else ("worked again", "scrap")
    return join(
        (
            tag("h2", "Where should it be aimed?"),
            tag("p", f"At the size where mistakes cost least: a part too small is {small}, one too large {large}, at "
                "the costs of the plan. From the latest blocks, their spread and the step of the gauge.",
                class_="hint"),
            table(("Family", "Aim", "Stands at", "Costs a block", "A thou smaller", "A thou larger", "From"), rows),
            tag("p", "Stay within the drawing: the maker's specification and the shop's qualified sign-off come "
                "before any cost. While something is going off, mend that first.", class_="caution-here"),
        )
    )  # fmt: skip


def _aim_row(desk: Desk, row: BoardRow, one: AimFact) -> tuple[object, ...]:
    plan, aim, unit, places = desk.shop.plan, one.aim, row.display, row.decimals
    family = plan.families[one.family].name if one.family in plan.families else one.family

    def off(value: float) -> str:
        return amount(value, unit, places, signed=True)

    target = next(
        (
            s.aim
            for s in reversed(plan.specifications)
            if s.feature == row.feature and one.family in s.families
        ),
        0.0,
    )
    return (
        family,
        join((tag("b", off(aim.best)), f" from target ({off(aim.low)} to {off(aim.high)}), ",
              size(target + aim.best, unit, places))),
        off(aim.now),
        f"{_money(aim.cost_now)} now, {_money(aim.cost_best)} there",
        f"{_money(aim.cost_below)} more",
        f"{_money(aim.cost_above)} more",
        f"{aim.parts} blocks",
    )  # fmt: skip


def _money(value: float) -> str:
    if value >= 10:
        return f"{value:.0f}"
    return f"{value:.1f}" if value >= 0.05 else "less than 0.1"
