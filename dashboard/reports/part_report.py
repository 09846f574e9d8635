"""The part sheet: every reading of one block, for the customer's folder."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby

from markupsafe import Markup

from dashboard.markup import table, tag
from dashboard.reports.blocks import Report
from dashboard.words.amounts import amount, count, moment, number, size_unit, unit_text
from dashboard.words.gauges import coarse_text
from dashboard.words.sentences import named
from ingest.answers.processes import PartDerived, PartReading, PartView, SetAsideFact
from ingest.plans.model import Plan
from ingest.plans.places import place_text
from ingest.plans.scales import coarse_share

CAUTION = (
    "This sheet shows what the gauges wrote, not whether the block may be used: that is for the maker's specification "
    "and the shop's qualified sign-off."
)
STATUS = {
    "used": "",
    "repeat": "measured again later",
    "incoming": "before the operation, not judged",
    "waiting": "does not count yet",
    "doubt": "in doubt, does not count",
    "rejected": "rejected, does not count",
    "audit": "measured again by another gauge, not judged",
    "check": "gauge check",
}
KEPT = ("used",)


def part_report(
    view: PartView, plan: Plan, files: dict[int, str], asked: str, aside: Sequence[SetAsideFact]
) -> Report:
    """The sheet of one block, for paper.

    Parameters
    ----------
    view : PartView
    plan : Plan
    files : dict
        Receipt to file name.
    asked : str
        Query date and digest, in words.
    aside : sequence of SetAsideFact
        Rows that name the block and do not count.
    """
    title = f"Block {view.serial}"
    family = named(view.family, view.family_name) if view.family else "family not known"
    out = sum(1 for r in view.readings if r.out) + sum(1 for d in view.derived if d.out)
    judged = sum(1 for r in view.readings if r.status == "used")
    told = f"{count(out, 'value')} beyond a limit" if out else "No value beyond its limit"
    top = tag("h1", title) + tag("p", f"{family}. {count(judged, 'reading')} count. {told}.", class_="lead")
    top += tag("p", CAUTION, class_="caution-here")
    body = top + tag("h2", "Where has it been?") + _passes(view)
    body += tag("h2", "What did it measure?") + _readings(view, plan, files) + _coarse(view, plan)
    if view.derived:
        body += tag("h2", "What follows from that?") + _derived(view.derived, plan, view.family)
    if aside:
        rows = [(f"{a.name}, line {a.line}", a.text, a.reason) for a in aside]
        body += tag("h2", "Rows set aside") + table(("File", "As written", "Why it does not count"), rows)
    body += tag(
        "p",
        "Looked over by ______________________   Date ______________   Released by ______________________",
        class_="hint sign",
    )
    return Report(title, (body,), f"{plan.shop.name}. {asked}")


def _coarse(view: PartView, plan: Plan) -> Markup:
    """Scales too coarse for the tolerance of what was read with them; empty without any."""
    said: dict[tuple[str, str], str] = {}
    for r in view.readings:
        if r.status not in KEPT or r.gauge is None or view.family is None:
            continue
        share = coarse_share(plan, r.gauge, r.feature, r.lower, r.upper)
        if share is not None:
            told = coarse_text(plan, r.gauge, r.feature, {view.family: share})
            said[r.gauge, r.feature] = f"{named(r.gauge, plan.gauges[r.gauge].name)} {told}."
    return tag("ul", [tag("li", text) for text in said.values()], class_="plain hint") if said else Markup("")


def _passes(view: PartView) -> Markup:
    rows = [
        (
            named(p.machine, p.machine_name),
            f"{p.operation_name}" + (f", pass {p.pass_no}" if p.pass_no > 1 else ""),
            p.tool or "",
            moment(p.started),
            moment(p.ended),
            p.note or "",
        )
        for p in view.passes
    ]
    return table(("Machine", "Operation", "Tool", "Started", "Ended", "Note"), rows, empty="No job is known.")


def _readings(view: PartView, plan: Plan, files: dict[int, str]) -> Markup:
    """One row for each feature, pass and gauge: all its places in a line; what was repeated or does not count below."""
    body, last = Markup(""), _last_passes(view)
    ordered = sorted(
        view.readings,
        key=lambda r: (_order(plan, r), r.feature, r.pass_no or 0, r.machine or "", r.position, r.time),
    )
    for (name, machine, _), group in groupby(ordered, key=lambda r: (r.feature_name, r.machine, r.pass_no)):
        mine = list(group)
        again = _pass_text(mine[0], last)
        limits = _limits(mine[0].lower, mine[0].upper, mine[0].display, mine[0].decimals)
        used = [r for r in mine if r.status in KEPT]
        rest = [r for r in mine if r.status not in KEPT]
        body += tag("h3", f"{name} on {machine or 'no machine'}{again}", tag("small", f"  {limits}"))
        body += tag("p", _places(used, plan, view.family), class_="values") if used else Markup("")
        body += tag("p", _source(used, files), class_="hint") if used else Markup("")
        if rest:
            body += tag(
                "ul",
                [
                    tag(
                        "li",
                        place_text(plan, r.position, view.family) or "whole block",
                        f": {_value(r.value, r.display, r.decimals)}, {STATUS.get(r.status, r.status)}",
                        f" ({r.reason})" if r.reason else "",
                        f", {moment(r.corrected_time)}, {r.gauge or 'no gauge'}, "
                        f"{files.get(r.receipt, '')} line {r.line}",
                    )
                    for r in rest
                ],
                class_="plain hint",
            )
    return body


def _last_passes(view: PartView) -> dict[tuple[str, str | None], int]:
    """Last pass that was measured of each (feature, operation): the one that was delivered and is judged."""
    last: dict[tuple[str, str | None], int] = {}
    for r in view.readings:
        if r.status in KEPT:
            last[r.feature, r.operation] = max(last.get((r.feature, r.operation), 0), r.pass_no or 0)
    return last


def _pass_text(reading: PartReading, last: Mapping[tuple[str, str | None], int]) -> str:
    """The pass of a reading where there were several, and whether a later one took its place."""
    mine, delivered = reading.pass_no or 0, last.get((reading.feature, reading.operation), 0)
    if mine and reading.status in KEPT and mine < delivered:
        return f", pass {mine} (made again in pass {delivered}, not judged)"
    return f", pass {mine}" if mine > 1 else ""


def _order(plan: Plan, reading: PartReading) -> int:
    operation = plan.operations.get(reading.operation or "")
    return operation.order if operation is not None else 0


def _places(used: Iterable[PartReading], plan: Plan, family: str | None) -> Markup:
    cells = []
    for r in used:
        unit, places = size_unit(r.value, r.display, r.decimals)
        text = f"{place_text(plan, r.position, family) or 'whole block'} {number(r.value, unit, places)}"
        cells.append(
            tag(
                "span",
                text,
                f" {unit_text(unit)}",
                f" {r.out} the limit" if r.out else "",
                class_="out" if r.out else None,
            )
        )
    return Markup("; ").join(cells)


def _source(used: Sequence[PartReading], files: dict[int, str]) -> str:
    gauges = ", ".join(dict.fromkeys(r.gauge or "no gauge named" for r in used))
    people = ", ".join(dict.fromkeys(r.operator or "nobody named" for r in used))
    first, last = min(r.corrected_time for r in used), max(r.corrected_time for r in used)
    when = (
        moment(first)
        if first == last
        else f"{moment(first)} to {last:%H:%M}"
        if first.date() == last.date()
        else f"{moment(first)} to {moment(last)}"
    )
    lines: dict[int, list[int]] = {}
    for r in used:
        lines.setdefault(r.receipt, []).append(r.line)
    where = "; ".join(f"{files.get(receipt, 'file')} lines {_ranges(at)}" for receipt, at in lines.items())
    return f"{gauges}, by {people}, {when}; {where}"


def _ranges(lines: Sequence[int]) -> str:
    """Line numbers as runs: ``12-25, 31``."""
    found: list[list[int]] = []
    for line in sorted(set(lines)):
        if found and line == found[-1][1] + 1:
            found[-1][1] = line
        else:
            found.append([line, line])
    return ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in found)


def _value(value: float, display: str, decimals: int) -> str:
    unit, places = size_unit(value, display, decimals)
    return f"{number(value, unit, places)} {unit_text(unit)}"


def _limits(lower: float | None, upper: float | None, display: str, decimals: int) -> str:
    if lower is None and upper is None:
        return "no limits"
    if lower is None and upper is not None:
        return f"at most {_value(upper, display, decimals)}"
    if upper is None and lower is not None:
        return f"at least {_value(lower, display, decimals)}"
    assert lower is not None
    assert upper is not None
    return f"{_value(lower, display, decimals)} to {_value(upper, display, decimals)}"


def _derived(derived: Sequence[PartDerived], plan: Plan, family: str | None) -> Markup:
    rows = []
    keyed = groupby(derived, key=lambda d: (d.feature_name, d.machine, d.pass_no))
    for (name, machine, pass_no), group in keyed:
        mine = list(group)
        values = Markup("; ").join(
            tag(
                "span",
                f"{place_text(plan, d.position, family) or 'whole block'} "
                f"{amount(d.value, d.display, d.decimals, signed=True)}",
                f" {d.out} the limit" if d.out else "",
                class_="out" if d.out else None,
            )
            for d in mine
        )
        limit = _limits(mine[0].lower, mine[0].upper, mine[0].display, mine[0].decimals)
        limit += ", either way" if mine[0].absolute and limit != "no limits" else ""
        rows.append((f"{name} on {machine}" + (f", pass {pass_no}" if pass_no > 1 else ""), values, limit))
    return table(("Feature", "Values", "Limits"), rows)


def derived_table(view: PartView, plan: Plan) -> Markup:
    """What is computed from the readings of a block: taper, out-of-round, steps, ranges, with their limits."""
    return _derived(view.derived, plan, view.family)


def part_lines(view: PartView, plan: Plan) -> list[str]:
    """The block in a terminal: what it is, where it has been, each feature's range, and what is out."""
    family = named(view.family, view.family_name) if view.family else "family not known"
    lines = [f"Block {view.serial}, {family}"]
    for p in view.passes:
        again = f", pass {p.pass_no}" if p.pass_no > 1 else ""
        lines.append(
            f"  {named(p.machine, p.machine_name)}, {p.operation_name}{again}: {moment(p.ended or p.started)}"
        )
    last = _last_passes(view)
    used = sorted(
        (r for r in view.readings if r.status in KEPT),
        key=lambda r: (_order(plan, r), r.feature, r.pass_no or 0),
    )
    for (name, again), group in groupby(used, key=lambda r: (r.feature_name, _pass_text(r, last))):
        mine = list(group)
        low, high = (f(r.value for r in mine) for f in (min, max))
        limits = _limits(mine[0].lower, mine[0].upper, mine[0].display, mine[0].decimals)
        reach = _value(low, mine[0].display, mine[0].decimals)
        if high != low:
            reach += f" to {_value(high, mine[0].display, mine[0].decimals)}"
        limits = limits if limits == "no limits" else f"limits {limits}"
        lines.append(f"  {name}{again}: {reach} ({count(len(mine), 'reading')}; {limits})")
    for d in view.derived:
        if d.out:
            place = place_text(plan, d.position, view.family) or "whole block"
            lines.append(
                f"  OUT: {d.feature_name}, {place}: {amount(d.value, d.display, d.decimals)} {d.out} the limit"
            )
    for r in view.readings:
        if r.out:
            place = place_text(plan, r.position, view.family) or "whole block"
            lines.append(
                f"  OUT: {r.feature_name}, {place}: {_value(r.value, r.display, r.decimals)} {r.out} the limit"
            )
    other = sum(r.status != "used" for r in view.readings)
    if other:
        lines.append(f"  {count(other, 'reading')} repeated, before the operation, audited or not counted")
    return [*lines, CAUTION]
