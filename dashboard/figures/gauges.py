"""Charts of gauges: errors on the master in order of time, differences from a second gauge, a trial by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dashboard.figures.frame import (
    BLUE,
    FAINT,
    FAMILY_COLOURS,
    FAMILY_SYMBOLS,
    GREY,
    ORANGE,
    Figure,
    figure,
    packed,
)
from dashboard.words.amounts import unit_text
from spc.units import from_base

if TYPE_CHECKING:
    from ingest.answers.gauges import AuditFact, Episode, GaugeView, StudyFact


def check_chart(gauge: GaugeView, unit: str) -> Figure:
    """Errors of a gauge on its masters over time, times in which it was off shaded, re-sets marked."""
    traces: list[dict[str, Any]] = []
    for i, master in enumerate(sorted({c.master for c in gauge.checks})):
        mine = [c for c in gauge.checks if c.master == master]
        single = [(c.time, from_base(v, unit)) for c in mine if len(c.readings) > 1 for v in c.readings]
        if single:
            traces.append({
                "type": "scatter", "mode": "markers", "name": f"single readings, {master}",
                "x": [t.isoformat() for t, _ in single], "y": packed([v for _, v in single]),
                "marker": {"size": 4, "color": GREY}, "hoverinfo": "skip",
            })  # fmt: skip
        traces.append({
            "type": "scatter", "mode": "lines+markers", "name": f"check on {master}",
            "x": [c.time.isoformat() for c in mine], "y": packed([from_base(c.error, unit) for c in mine]),
            "marker": {"size": 7, "color": FAMILY_COLOURS[i % len(FAMILY_COLOURS)]}, "line": {"width": 1},
            "hovertemplate": "%{x|%d %b %Y}<br>%{y:.3~f} " + unit_text(unit) + "<extra></extra>",
        })  # fmt: skip
    chart = figure(traces, y_title=f"reads too large by, {unit_text(unit)}", height=320)
    return _dressed(chart, gauge.episodes, [r.event.time.isoformat() for r in gauge.resets])


def audit_chart(audit: AuditFact, episodes: tuple[Episode, ...]) -> Figure:
    """Parts measured again: what the first gauge read too large, over time, by family."""
    unit = audit.display
    traces = []
    for i, family in enumerate(sorted({p.family for p in audit.points})):
        mine = [p for p in audit.points if p.family == family]
        values = [100 * p.difference if audit.log else from_base(p.difference, unit) for p in mine]
        traces.append({
            "type": "scatter", "mode": "markers", "name": family, "x": [p.time.isoformat() for p in mine],
            "y": packed(values), "text": [p.serial for p in mine],
            "marker": {"size": 7, "color": FAMILY_COLOURS[i % len(FAMILY_COLOURS)],
                       "symbol": FAMILY_SYMBOLS[i % len(FAMILY_SYMBOLS)]},
            "hovertemplate": "%{text}<br>%{x|%d %b %Y}<br>%{y:.3~f}<extra></extra>",
        })  # fmt: skip
    shown = "%" if audit.log else unit_text(unit)
    chart = figure(traces, y_title=f"{audit.gauge} less {audit.reference}, {shown}", height=320)
    return _dressed(chart, episodes, [])


def _dressed(chart: Figure, episodes: tuple[Episode, ...], resets: list[str]) -> Figure:
    chart["layout"]["xaxis"] |= {"type": "date"}
    chart["layout"]["shapes"].append(
        {
            "type": "line",
            "xref": "paper",
            "x0": 0,
            "x1": 1,
            "y0": 0,
            "y1": 0,
            "line": {"color": FAINT, "width": 2},
        }
    )
    for episode in episodes:
        ends = {"x0": episode.begun.isoformat(), "yref": "paper", "y0": 0, "y1": 1}
        last = episode.until.isoformat() if episode.until is not None else None
        if last is None:
            dates = [str(x) for trace in chart["data"] for x in trace["x"]]
            last = max(dates, default=episode.begun.isoformat())
        chart["layout"]["shapes"].append(
            {"type": "rect", **ends, "x1": last, "fillcolor": ORANGE, "opacity": 0.14, "line": {"width": 0},
             "layer": "below"}
        )  # fmt: skip
        chart["layout"]["annotations"].append(
            {"x": episode.begun.isoformat(), "yref": "paper", "y": 1, "yanchor": "top", "xanchor": "left",
             "text": "off", "showarrow": False, "font": {"size": 12}}
        )  # fmt: skip
    for when in resets:
        chart["layout"]["shapes"].append(
            {"type": "line", "x0": when, "x1": when, "yref": "paper", "y0": 0, "y1": 1,
             "line": {"color": BLUE, "width": 1.5, "dash": "dot"}}
        )  # fmt: skip
    return chart


def trial_by_part(fact: StudyFact) -> Figure:
    """A trial: every reading by part and hand, lines through the means, so that hands that differ by part are seen."""
    parts = list(dict.fromkeys(r.part for r in fact.readings))
    parts.sort(key=lambda name: (len(name), name))
    traces: list[dict[str, Any]] = []
    for i, hand in enumerate(sorted({r.who for r in fact.readings})):
        mine = [r for r in fact.readings if r.who == hand]
        colour = FAMILY_COLOURS[i % len(FAMILY_COLOURS)]
        read = {p: [from_base(r.from_all, fact.display) for r in mine if r.part == p] for p in parts}
        traces.append({
            "type": "scatter", "mode": "lines", "name": hand or "one hand", "legendgroup": hand or "one hand",
            "x": [p for p in parts if read[p]], "y": packed([sum(v) / len(v) for v in read.values() if v]),
            "line": {"width": 1.5, "color": colour}, "hoverinfo": "skip",
        })  # fmt: skip
        traces.append(
            _dots(hand, colour, i, [r.part for r in mine], [r.from_all for r in mine], fact.display)
        )
    chart = figure(
        traces, y_title=f"from the mean of all, {unit_text(fact.display)}", x_title="part", height=320
    )
    chart["layout"]["xaxis"] |= {"type": "category", "categoryorder": "array", "categoryarray": parts}
    return chart


def trial_by_hand(fact: StudyFact) -> Figure:
    """A trial: how far each hand reads from what all read on the same part."""
    traces = []
    for i, hand in enumerate(sorted({r.who for r in fact.readings})):
        mine = [r for r in fact.readings if r.who == hand]
        colour = FAMILY_COLOURS[i % len(FAMILY_COLOURS)]
        name = hand or "one hand"
        traces.append(_dots(hand, colour, i, [name] * len(mine), [r.from_part for r in mine], fact.display))
    chart = figure(
        traces, y_title=f"from the mean of the part, {unit_text(fact.display)}", x_title="who", height=280
    )
    chart["layout"]["xaxis"] |= {"type": "category"}
    return chart


def _dots(hand: str, colour: str, i: int, x: list[str], values: list[float], unit: str) -> dict[str, Any]:
    return {
        "type": "scatter", "mode": "markers", "legendgroup": hand or "one hand", "showlegend": False, "x": x,
        "y": packed([from_base(v, unit) for v in values]),
        "marker": {"size": 7, "color": colour, "symbol": FAMILY_SYMBOLS[i % len(FAMILY_SYMBOLS)]},
        "text": [hand or "one hand"] * len(x),
        "hovertemplate": "%{x}, %{text}<br>%{y:.3~f} " + unit_text(unit) + "<extra></extra>",
    }  # fmt: skip
