"""What must be known of the gauges behind a process, said where its readings are used."""

from __future__ import annotations

from markupsafe import Markup

from dashboard.desk import Desk
from dashboard.markup import tag
from dashboard.words.amounts import amount
from dashboard.words.gauges import CHART_OF_STEPS, coarse_text
from dashboard.words.sentences import named
from ingest.answers.processes import BoardRow
from ingest.plans.model import Plan
from ingest.plans.scales import coarse_shares
from spc.mean_squares import Ranged


def gauges_behind(plan: Plan, row: BoardRow) -> list[str]:
    """Gauges that the plan names for the readings of a process; of an audit or a check those that it is about."""
    if row.machine in plan.gauges:
        return [key for key in (row.machine, row.operation) if key in plan.gauges]
    source = plan.features[row.feature].of or row.feature
    return [
        key
        for key, gauge in plan.gauges.items()
        if source in gauge.features and gauge.machine in (None, row.machine)
    ]


def gauge_notes(desk: Desk, row: BoardRow) -> Markup:
    """Gauges without checks, gauges in doubt, scales too coarse for a tolerance or the chart; empty without any.

    Parameters
    ----------
    desk : Desk
    row : BoardRow
        The process whose page it is.
    """
    plan = desk.shop.plan
    checked = {r.machine for r in desk.board() if r.is_gauge}
    for_chart = desk.remember(("coarse", row.process), lambda: desk.shop.coarse_charts(row.process))
    lines: list[object] = []
    if row.doubt is not None:
        gauge = row.doubt.gauge
        lines.append(
            tag("li", "The parts to measure again are listed under ",
                tag("a", named(gauge, row.doubt.gauge_name), href=f"/gauges/{gauge}"), ".")
        )  # fmt: skip
    for key in gauges_behind(plan, row):
        link = tag("a", named(key, plan.gauges[key].name), href=f"/gauges/{key}")
        if key not in checked and not row.is_gauge:
            lines.append(
                tag("li", link, " has no checks on record: nothing says whether what is shown here is true.")
            )
        shares = coarse_shares(plan, key, row.feature, plan.families, desk.now().date())
        if shares and not row.is_gauge:
            lines.append(tag("li", link, f" {coarse_text(plan, key, row.feature, shares)}."))
        if key in for_chart:
            lines.append(tag("li", link, f" {CHART_OF_STEPS}."))
    if not lines:
        return Markup("")
    return tag("h2", "Can its readings be believed?") + tag("ul", lines, class_="plain")


def true_sizes(desk: Desk, row: BoardRow, families: tuple[str, ...], names: dict[str, str]) -> Markup:
    """What the sizes themselves hold beside what was measured; empty where that cannot be told."""
    shop, lines = desk.shop, []
    for family in families:
        try:
            held = desk.capability(row.process, family)
        except (ValueError, LookupError):
            continue  # the table above says why nothing can be said
        if held is None:
            continue
        key = ("true size", row.process, family)
        fact = desk.remember(key, lambda held=held: shop.true_size(row.process, held))
        if fact is None:
            continue
        name, spread = names.get(family, family), amount(fact.gauge_sd, row.display, row.decimals + 1)
        if fact.true is None:
            lines.append(f"{name}: the gauge's own spread of {spread} explains all that was measured.")
            continue
        lines.append(
            f"{name}: Ppk of the true size {_index(fact.true)}, as measured {_index(fact.measured)}; one reading "
            f"spreads by {spread} (standard deviation) through {', '.join(fact.gauges)} alone."
        )
    if not lines:
        return Markup("")
    return tag(
        "details",
        tag("summary", "And without what the gauge adds?"),
        tag("ul", [tag("li", text) for text in lines], class_="plain"),
        tag(
            "p",
            "What counts is what was measured: nobody can sort blocks by a size that no gauge shows.",
            class_="hint",
        ),
    )


def _index(figure: Ranged) -> str:
    if figure.lower is None or figure.upper is None:
        return f"{figure.estimate:.2f}"
    return f"{figure.estimate:.2f} ({figure.lower:.2f} to {figure.upper:.2f})"
