"""*Gauges*: can what they read be believed, and what must be measured again."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from markupsafe import Markup

from dashboard.desk import Desk
from dashboard.figures.gauges import audit_chart, check_chart
from dashboard.markup import join, made, table, tag
from dashboard.pages.board import process_href, state_mark
from dashboard.pages.part import part_href
from dashboard.pages.trials import graph, trials
from dashboard.words.amounts import amount, count, day, moment, sentence_case
from dashboard.words.gauges import (
    TRUST_PARTS,
    blind_text,
    check_display,
    due_text,
    episode_text,
    gauge_text,
    likely_text,
    parts_of,
    ranged,
    scale_text,
    standing,
    step_text,
    trust_text,
    warmth_text,
)
from dashboard.words.sentences import named
from spc.mean_squares import Ranged

if TYPE_CHECKING:
    from ingest.answers.gauges import Episode, GaugeView, Suspect
    from ingest.gauges.view import GaugesView
    from ingest.plans.model import Plan

SHOWN = 30
"""Parts to measure again that are shown at once."""
CAUTION = (
    "Never set a limit or a gauge so that a part passes. What is said here advises; the maker's specification and the "
    "shop's qualified sign-off decide."
)


def gauge_href(key: str) -> str:
    """Address of the page of one gauge."""
    return "/gauges/" + quote(key, safe="")


def gauges_of(desk: Desk) -> GaugesView:
    """What is known of all gauges, remembered until something changes."""
    return desk.remember(("gauges",), lambda: desk.shop.gauges())


def layout(desk: Desk, query: dict[str, str], gauge: str | None = None) -> tuple[str, list[Any]]:  # noqa: ARG001
    """Title and body: all gauges, or one.

    Raises
    ------
    LookupError
        There is no such gauge.
    """
    found = gauges_of(desk)
    if gauge is None:
        return "Gauges", [made(_all(desk, found), class_="page")]
    one = next((g for g in found.gauges if g.key == gauge), None)
    if one is None:
        raise LookupError(gauge)
    return f"Gauge {gauge}", _one(desk, found, one)


def _mark(gauge: GaugeView) -> Markup:
    if gauge.row is not None:
        return state_mark(gauge.row)
    return tag("span", tag("b", "No checks on record"), class_="state orange")


def _all(desk: Desk, found: GaugesView) -> Markup:
    plan, today = desk.shop.plan, desk.now().date()
    head = tag("h1", "Can the gauges be trusted?") + tag("p", CAUTION, class_="caution-here")
    if not found.gauges:
        return head + tag("p", "The plan names no gauge: name them under [gauges.NAME].", class_="empty")
    doubtful = [g for g in found.gauges if g.doubt is not None]
    bare = [g for g in found.gauges if not g.checks and g.uses]
    said = [tag("p", sentence_case(gauge_text(g)), ": ", standing(g, plan), class_="why") for g in doubtful]
    if not doubtful:
        said.append(tag("p", "No gauge is in doubt.", class_="why"))
    if bare:
        names = sentence_case(", ".join(gauge_text(g) for g in bare))
        said.append(
            tag(
                "p",
                f"{names}: no check on a master is on record, so what they read stands on trust.",
                class_="why",
            )
        )
    late = [g for g in found.gauges if g.due is not None and g.due < today]
    if late:
        said.append(
            tag("p", f"Overdue for calibration: {', '.join(gauge_text(g) for g in late)}.", class_="why")
        )
    rows = [_summary(g, plan) for g in found.gauges]
    body = head + join(said)
    body += table(
        ("Gauge", "State", "Last check", "One reading is good to", "Scale", "Measures, readings", "Due"),
        rows,
        class_="gauges",
    )
    body += tag("h2", "Are blocks measured at the right temperature?") + _temperature(found)
    body += tag("h2", "How is a gauge tried?") + tag(
        "p",
        "Let two or more people measure ten parts two or three times each, in an order drawn by chance. ",
        tag("code", "tenthwise gauges trial --parts 10 --by A,B,C --trials 3 > trial.csv"),
        " writes the sheet to print and fill in; ",
        tag("code", "tenthwise study trial.csv"),
        " says what it shows. A layout with the role ",
        tag("code", "study"),
        " in the plan keeps trials here.",
        class_="hint",
    )
    return body


def _summary(gauge: GaugeView, plan: Plan) -> tuple[object, ...]:
    good = [
        tag("div", f"{trust_text(u)} ", tag("small", u.feature_name))
        for u in gauge.uses
        if u.trust is not None
    ]
    unit, _ = check_display(gauge, plan)
    coarse = any(s.verdict == "too coarse for the tolerance" for u in gauge.uses for s in u.scales)
    uses = [
        tag("div", u.feature_name, " ", tag("small", f"{u.readings:,}"))
        for u in gauge.uses
    ]  # fmt: skip
    return (
        tag("a", gauge_text(gauge), href=gauge_href(gauge.key)),
        _mark(gauge),
        day(gauge.checks[-1].time) if gauge.checks else "never",
        good or "not known",
        step_text(gauge, unit) + (", too coarse" if coarse else ""),
        uses or "nothing yet",
        day(gauge.due) if gauge.due else "",
    )


def _temperature(found: GaugesView) -> Markup:
    warmth = {(w.family, w.feature_name): w for g in found.gauges for w in g.warmth}
    lines = [tag("li", warmth_text(w)) for w in sorted(warmth.values(), key=lambda w: not w.real)]
    for missing in found.missing:
        lines.append(
            tag(
                "li",
                f"{named(missing.family, missing.family_name)}: {missing.without:,} of {missing.readings:,} readings "
                f"of {missing.feature_name} with {missing.gauge} carry no temperature. One °C makes "
                f"{amount(missing.per_degree, 'um', 1)} on this size and the gauge does not grow alike: write the "
                "temperature of the block and of the gauge down with them.",
            )
        )
    if not lines:
        return tag(
            "p", "Nothing speaks against it, as far as temperatures were written down.", class_="empty"
        )
    return tag("ul", lines, class_="plain")


def _one(desk: Desk, found: GaugesView, gauge: GaugeView) -> list[Any]:
    plan = desk.shop.plan
    unit, places = check_display(gauge, plan)
    top = join(
        (
            tag("p", tag("a", "Gauges", href="/gauges"), f" / {gauge.kind or 'gauge'}", class_="crumb"),
            tag("h1", gauge_text(gauge)),
            tag("p", _mark(gauge), class_="big-state"),
            tag("p", standing(gauge, plan), class_="why"),
            tag("p", due_text(gauge, desk.now().date()), class_="facts"),
            tag("p", CAUTION, class_="caution-here"),
        )
    )
    body: list[Any] = [made(top, class_="page")]
    if gauge.episodes:
        shown = [_episode(gauge, episode, plan) for episode in gauge.episodes]
        body.append(
            made(
                tag("h2", "When was it off, and what did it measure meanwhile?") + join(shown), class_="page"
            )
        )
    body.append(made(tag("h2", "What does it read on its master?"), class_="page"))
    if gauge.checks:
        body.append(graph(check_chart(gauge, unit), f"{gauge.key}: errors on its master over time"))
        body.append(made(_masters(gauge, unit, places), class_="page"))
    else:
        body.append(made(tag("p", "No check is on record.", class_="empty"), class_="page"))
    body += _audits(gauge, found)
    body.append(made(_uses(gauge, unit), class_="page"))
    if gauge.warmth:
        lines = [tag("li", warmth_text(w)) for w in gauge.warmth]
        body.append(
            made(
                tag("h2", "Does warmth change what it reads?") + tag("ul", lines, class_="plain"),
                class_="page",
            )
        )
    return body + trials(gauge)


def _episode(gauge: GaugeView, episode: Episode, plan: Plan) -> Markup:
    serials = parts_of(episode)
    rows = [_suspect(s) for s in episode.suspects]
    head = ("Block", "Measured", "On", "Feature", "By", "It is likely", "Second gauge found", "")
    inside = sum(1 for s in episode.suspects if s.beyond)
    first = (
        f" {count(inside, 'of them reads', 'of them read')} within the limits and most likely "
        f"{'lies' if inside == 1 else 'lie'} beyond one: measure {'it' if inside == 1 else 'them'} first."
        if inside
        else ""
    )
    blind = blind_text(episode)
    rest = None
    if len(rows) > SHOWN:
        rest = tag(
            "details",
            tag("summary", f"The other {len(rows) - SHOWN}"),
            table(head, rows[SHOWN:], class_="suspects"),
        )
    return join(
        (
            tag("p", episode_text(episode, gauge, plan), class_="why"),
            tag("p", blind, class_="hint") if blind else None,
            tag("h3", f"{count(len(serials), 'block')} to measure again"),
            tag("p", "They were measured with it while it was off.", first, " The list for a spreadsheet: ",
                tag("code", f"tenthwise gauges suspects {gauge.key} --csv"), " or ",
                tag("a", "download it", href=f"{gauge_href(gauge.key)}/suspects.csv", download=True), "."),
            table(head, rows[:SHOWN], class_="suspects", empty="It measured nothing meanwhile."),
            rest,
        )
    )  # fmt: skip


def _suspect(suspect: Suspect) -> tuple[object, ...]:
    unit, places = suspect.display, suspect.decimals
    return (
        tag("a", suspect.serial, href=part_href(suspect.serial)),
        moment(suspect.when),
        suspect.machine,
        suspect.feature_name + (f", pass {suspect.pass_no}" if suspect.pass_no > 1 else ""),
        ", ".join(suspect.operators),
        likely_text(suspect.error, unit, places) if suspect.error is not None else "not known",
        likely_text(Ranged(suspect.audited), unit, places) if suspect.audited is not None else "",
        f"{count(suspect.beyond, 'place')} likely beyond a limit" if suspect.beyond else "",
    )


def _masters(gauge: GaugeView, unit: str, places: int) -> Markup:
    rows = [
        (
            named(m.master, m.name),
            m.checks,
            ranged(m.bias, unit, places, signed=True),
            ranged(m.repeat, unit, places) if m.repeat is not None else "never differed",
            ranged(m.setting, unit, places) if m.setting is not None else "cannot be told",
        )
        for m in gauge.masters
    ]
    body = table(
        ("Master", "Checks", "Reads too large by", "Repeats spread by", "From check to check, beyond that"),
        rows,
        empty="All checks fall into a time in which it was off.",
    )
    body += tag(
        "p",
        "Spreads are standard deviations, ranges hold 19 times in 20; times in which it was off are left out.",
        class_="hint",
    )
    for setting in gauge.settings:
        body += tag(
            "p",
            f"It is set daily. {setting.process.split('/')[0]} {setting.feature_name} differs from day to day by "
            f"{ranged(setting.sd, setting.display, setting.decimals)} beyond block to block, going by "
            f"{count(setting.parts, 'block')} on {count(setting.days, 'day')}: the setting error, or anything else "
            "that changes by the day.",
        )
    if gauge.linearity is not None:
        per, ends = gauge.linearity, ""
        if per.lower is not None and per.upper is not None:
            ends = f" ({per.lower * 1e5:+.2f} to {per.upper * 1e5:+.2f})"
        body += tag("p", f"Its error grows by {per.estimate * 1e5:+.2f} µm for each 100 mm of size{ends}.")
    elif "linearity" in gauge.refused:
        body += tag("p", f"Size: {gauge.refused['linearity']}.", class_="hint")
    for reset in gauge.resets:
        body += tag(
            "p",
            f"{reset.event.kind_name.capitalize()} on {day(reset.event.time)} moved it by "
            f"{ranged(reset.step, unit, places, signed=True)}, going by {count(reset.before, 'check')} before and "
            f"{reset.after} after.",
        )
    return body


def _audits(gauge: GaugeView, found: GaugesView) -> list[Any]:
    body: list[Any] = [made(tag("h2", "Does a second gauge agree?"), class_="page")]
    if not gauge.audits:
        text = (
            "No block was measured again on a second gauge. That alone shows between two checks that a gauge has gone "
            "off."
        )
        return [*body, made(tag("p", text, class_="empty"), class_="page")]
    off = {g.key: g.episodes for g in found.gauges}
    for audit in gauge.audits:
        other = audit.reference if audit.gauge == gauge.key else audit.gauge
        text = (
            f"{audit.gauge} reads {ranged(audit.mean, audit.display, audit.decimals, signed=True)} more than "
            f"{audit.reference} on the same block, over {count(len(audit.points), 'block')}, times left out in which "
            "either was off."
        )
        if audit.warm:
            text += f" {count(audit.warm, 'block')} left out: warmer or colder than the others of their day."
        link = tag("a", "its chart and signals", href=process_href(audit.process))
        mark = state_mark(audit.row) if audit.row is not None else None
        body.append(
            made(
                tag("h3", f"{audit.feature_name} against {other} ", mark)
                + tag("p", text, " See ", link, "."),
                class_="page",
            )
        )
        episodes = (*off.get(audit.gauge, ()), *off.get(audit.reference, ()))
        body.append(graph(audit_chart(audit, episodes), f"{audit.gauge} against {audit.reference} over time"))
    return body


def _uses(gauge: GaugeView, unit: str) -> Markup:
    body = tag("h2", "Is it good enough for what it measures?")
    if not gauge.uses:
        return body + tag("p", "It has measured nothing yet.", class_="empty")
    rows = []
    for use in gauge.uses:
        made_of = (
            ", ".join(
                f"{amount(v, use.display, use.decimals + 1)} {TRUST_PARTS[k]}" for k, v in use.trust.parts.items()
            )
            if use.trust is not None
            else "no check or trial tells of it" if not use.log else "no trial tells of it"
        )  # fmt: skip
        shares = [f"{s.family} {100 * s.share:.0f} %" for s in use.scales if s.share is not None]
        rows.append(
            (
                use.feature_name,
                ", ".join(use.machines),
                f"{use.readings:,}",
                trust_text(use),
                made_of,
                ", ".join(shares) or "no tolerance on both sides",
            )
        )
    body += tag("p", f"The smallest step of its scale: {step_text(gauge, unit)}.")
    body += table(
        ("Feature", "Made on", "Readings", "One reading is good to", "Made up of", "A step in the tolerance"),
        rows,
    )
    for use in gauge.uses:
        said = scale_text(use)
        if said:
            body += tag("p", f"{use.feature_name.capitalize()}: {said}.", class_="why")
    return body
