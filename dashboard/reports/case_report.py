"""The service case as a report of one page for the owner."""

from __future__ import annotations

from markupsafe import Markup

from dashboard.figures.month import course_chart, sway_chart
from dashboard.markup import table, tag
from dashboard.reports.blocks import Block, Chart, Report
from dashboard.reports.case_words import (
    cannot_tell,
    chance_text,
    change_text,
    control_text,
    missed_text,
    money_text,
    months_text,
    part_share,
    pattern_text,
    range_text,
    ratio_text,
    verdict_text,
)
from dashboard.reports.month_words import share_text
from dashboard.words.amounts import count, day, moment
from dashboard.words.sentences import named
from ingest.answers.case import ServiceCase
from ingest.plans.model import Plan

CAUTION = "Lock out and tag out before anybody works on the machine, following local rules and its manual."


def case_report(case: ServiceCase, plan: Plan) -> Report:
    """What a service did or would save, for screen and paper.

    Parameters
    ----------
    case : ServiceCase
    plan : Plan
    """
    machine = named(case.machine, case.machine_name)
    if case.event is not None:
        title = f"What did it do? {machine}, {case.event.kind_name}, {day(case.event.time)}"
    else:
        title = f"Does a service of {machine} pay?"
    top = tag("h1", title) + tag("p", verdict_text(case), class_="verdict")
    blocks: list[Block] = []
    if case.verdict == "gauge":
        return Report(title, (top,), _foot(case, plan))
    top += _money(case)
    top += tag("h2", "Blocks out of tolerance") + _counts(case)
    blocks.append(top)
    if case.course and any(then for *_, then in case.course):
        blocks.append(
            Chart(course_chart(case), "Worst place of every block against its limit, before and after")
        )
    if case.money is not None:
        blocks.append(tag("h2", "What moves the payback most?"))
        blocks.append(
            Chart(sway_chart(case), "Payback in months as each input moves alone over its likely range")
        )
    rest = Markup("")
    if case.effects:
        rest += tag("h2", "What changed on the machine?") + _effects(case)
    if case.grounds:
        rest += tag("h2", "What speaks for it?") + _grounds(case, plan)
    rest += tag("h2", "What the data cannot tell")
    rest += tag("ul", [tag("li", text) for text in cannot_tell(case, plan)], class_="plain limits")
    rest += tag("p", CAUTION, class_="caution-here")
    blocks.append(rest)
    return Report(title, tuple(blocks), _foot(case, plan))


def _money(case: ServiceCase) -> Markup:
    if case.money is None:
        return tag("p", case.no_money) if case.no_money else Markup("")
    m = case.money
    within = chance_text(m.within_year)
    waits = "saved a month" if case.event is not None else "lost with every month of waiting"
    figures = [
        (
            months_text(m.payback.p50),
            f"until it has paid; 8 of 10: {months_text(m.payback.p10)} to {months_text(m.payback.p90)}",
        ),
        (within, "chance that it has paid within 12 months"),
        (
            money_text(m.saving.p50),
            f"{waits}; 8 of 10: {money_text(m.saving.p10)} to {money_text(m.saving.p90)}",
        ),
        (
            money_text(m.price.total),
            f"cost: {money_text(m.price.amount)} and {m.price.down_hours:g} hours down at "
            f"{m.price.margin_per_hour:g} an hour",
        ),
    ]
    return tag("div", [tag("div", tag("b", value), text) for value, text in figures], class_="money")


def _counts(case: ServiceCase) -> Markup:
    past = case.event is not None
    now, then = ("Before", "After") if past else ("Lately", "When it last held")
    rows: list[tuple[object, ...]] = []
    spans = ["", ""]
    for i, share in enumerate((case.now, case.then)):
        if share is not None:
            spans[i] = f"{day(share.first)} to {day(share.last)}"
    for limit in case.limits:
        rows.append(
            (limit.feature_name, part_share(limit.now), part_share(limit.then) if limit.then else "–")
        )
    if len(case.limits) > 1:
        rows.append(
            (tag("b", "any of them"), part_share(case.now), part_share(case.then) if case.then else "–")
        )
    head = ("Blocks beyond a limit of", f"{now} ({spans[0]})", f"{then} ({spans[1]})" if spans[1] else then)
    told = table(head, rows, empty="No block was judged against a limit.")
    words = [f"{case.pace:.0f} blocks a month go over the machine."]
    if case.money is not None:
        words.append(f"Out of tolerance a month: {range_text(case.money.out_now)} blocks now, ")
        words[-1] += (
            f"{range_text(case.money.out_then)} {'since' if past else 'with a sound machine'}; they cost "
        )
        words[-1] += f"{money_text(case.money.cost_now.p50)} a month "
        words[-1] += f"({money_text(case.money.cost_now.p10)} to {money_text(case.money.cost_now.p90)})."
    if case.larger is not None:
        words.append(
            f"Chance that the share was really larger {'before' if past else 'lately'}: {chance_text(case.larger)}."
        )
    if case.ahead is not None:
        words.append(
            f"If it goes on drifting as it did, {share_text(case.ahead.estimate)} of the blocks are out in a month "
            f"({share_text(case.ahead.lower)} to {share_text(case.ahead.upper)})."
        )
    return told + tag("p", " ".join(words))


def _effects(case: ServiceCase) -> Markup:
    rows = []
    rest = [e for e in case.effects if not e.effect.found]
    for e in [x for x in case.effects if x.effect.found] or rest:
        rows.append(
            (
                e.feature_name,
                change_text(e),
                ratio_text(e),
                pattern_text(e),
                missed_text(e),
                control_text(e),
            )
        )
    head = (
        "Feature", "Level, after less before", "Spread", "Places", "Could have missed up to",
        "Same weeks elsewhere",
    )  # fmt: skip
    hint = (
        "Each family on each gauge has its own level, and wear or drift that went on is taken out, so that neither is "
        "credited to the service. Changed is what stands out from all compared (of that, 1 in 20 may be chance). "
        "Could have missed: a change of that size is found 8 times in 10."
    )
    others = Markup("")
    if len(rest) < len(case.effects) and rest:
        told = [
            f"{e.feature_name} (could have missed {missed_text(e)})"
            if e.effect.level is not None
            else f"{e.feature_name} (not compared: {e.effect.reason})"
            for e in rest
        ]
        others = tag("p", "No change by more than noise: ", "; ".join(told), ".")
    return table(head, rows, class_="effects") + others + tag("p", hint, class_="hint")


def _grounds(case: ServiceCase, plan: Plan) -> Markup:
    items = []
    for s in case.grounds:
        feature = plan.features[s.process.split("/")[-1]]
        what = {"level": "has moved", "scatter": "differs more from block to block"}.get(
            s.monitor, "differs more within a block"
        )
        items.append(tag("li", f"{feature.name} {what} since about {day(s.changed)}."))
    return tag("ul", list(dict.fromkeys(items)), class_="plain")


def _foot(case: ServiceCase, plan: Plan) -> str:
    told = f"{plan.shop.name}. Told from what was known on {moment(case.asked)}. Data {case.digest[:32]}. "
    told += f"Plan {case.plan_sha[:32]}."
    told += " In brackets after a count: the exact interval that holds the true share in 95 of 100 cases."
    if case.money is not None:
        m = case.money
        told += (
            f" {count(m.draws, 'draw')} with seed {m.seed}: the simulation's own error is {m.payback.error:.3f} "
            f"months and {100 * m.within_year_error:.2f} % of the chance."
        )
    return told
