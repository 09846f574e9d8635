"""The blocks of a month in order, and a service case: what it rests on and what moves it."""

from __future__ import annotations

import math
from typing import Any

from dashboard.figures.frame import BLUE, GREY, VERMILION, Figure, figure, limit_line
from dashboard.words.amounts import size_unit, unit_text
from ingest.answers.case import ServiceCase
from ingest.answers.month import MonthRun
from spc.units import from_base

NEVER = 60.0
"""Months at which a bar of a payback ends that may never come."""
INK = "#333333"


def run_chart(run: MonthRun) -> Figure:
    """Mean of every block of a line in order, between the limits of the drawing where they are near.

    Parameters
    ----------
    run : MonthRun

    Returns
    -------
    dict
        Figure.
    """
    line = run.line
    held = line.held
    unit, places = size_unit(run.means[-1], line.display, line.decimals)
    values = [from_base(v, unit) for v in run.means]
    trace: dict[str, Any] = {
        "type": "scatter",
        "mode": "lines+markers",
        "x": list(range(1, len(values) + 1)),
        "y": values,
        "text": list(run.serials),
        "line": {"color": GREY, "width": 1},
        "marker": {"size": 5, "color": BLUE},
        "hovertemplate": f"%{{text}}<br>%{{y:.{places}f}} {unit_text(unit)}<extra></extra>",
    }
    chart = figure([trace], y_title=unit_text(unit), x_title="block of the month, in order", height=230)
    layout = chart["layout"]
    layout["showlegend"] = False
    layout["yaxis"] |= {"tickformat": f".{places}f"}
    if held is None:
        return chart
    bounds = [(held.lower_limit, "lower limit"), (held.upper_limit, "upper limit")]
    if held.shape == "folded normal" and held.sigma_within is not None and held.upper_limit is not None:
        bounds = [(-held.upper_limit, "lower limit"), (held.upper_limit, "upper limit")]
    spread = max(values) - min(values) or 1.0
    for limit, name in bounds:
        if limit is None:
            continue
        y = from_base(limit, unit)
        if min(values) - 3 * spread <= y <= max(values) + 3 * spread:
            limit_line(layout, y, name)
    return chart


def course_chart(case: ServiceCase) -> Figure:
    """How near the worst place of every block came to its limit, then and now.

    Parameters
    ----------
    case : ServiceCase
        With a course.

    Returns
    -------
    dict
        Figure; beyond 100 % a block is out of tolerance. One sign for each side, so that it reads without colour.
    """
    traces: list[dict[str, Any]] = []
    sides = (
        (True, "after" if case.event is not None else "before it changed", "circle-open", GREY),
        (False, "before" if case.event is not None else "lately", "x", VERMILION),
    )
    for then, name, symbol, colour in sides:
        mine = [(day, 100 * (1 + over)) for day, over, side in case.course if side is then]
        traces.append({
            "type": "scatter", "mode": "markers", "name": name,
            "x": [day.isoformat() for day, _ in mine], "y": [round(value, 2) for _, value in mine],
            "marker": {"symbol": symbol, "size": 6, "color": colour, "line": {"width": 1.2}},
            "hovertemplate": "%{x}: %{y:.0f} % of the way to its limit<extra></extra>",
        })  # fmt: skip
    chart = figure(traces, y_title="worst place,<br>% of its limit", height=146)
    chart["layout"]["margin"] |= {"t": 4, "b": 24}
    layout = chart["layout"]
    layout["shapes"].append({
        "type": "line", "xref": "paper", "x0": 0, "x1": 1, "yref": "y", "y0": 100, "y1": 100,
        "line": {"color": VERMILION, "width": 1.4, "dash": "longdash"},
    })  # fmt: skip
    if case.event is not None:
        at = case.event.time.date().isoformat()
        layout["shapes"].append({
            "type": "line", "xref": "x", "x0": at, "x1": at, "yref": "paper", "y0": 0, "y1": 1,
            "line": {"color": INK, "width": 1.4, "dash": "dot"},
        })  # fmt: skip
        layout["annotations"].append({
            "x": at, "xref": "x", "y": 1, "yref": "paper", "yanchor": "top", "xanchor": "left", "showarrow": False,
            "text": case.event.kind_name, "font": {"size": 11, "color": INK},
        })  # fmt: skip
    return chart


def _months(value: float) -> str:
    if value > 10 * NEVER:
        return "never"
    return f"{value:.1f}" if value >= 1 else f"{value:.2f}"


def sway_chart(case: ServiceCase) -> Figure:
    """How far each input alone moves the payback, the one that matters most on top.

    Parameters
    ----------
    case : ServiceCase
        With money.

    Returns
    -------
    dict
        Figure.
    """
    assert case.money is not None
    told = [s for s in case.money.sways if math.isfinite(s.low)][::-1]
    ends = [(s.low, min(s.high, NEVER)) for s in told]
    bars: dict[str, Any] = {
        "type": "bar",
        "orientation": "h",
        "y": [s.name for s in told],
        "base": [low for low, _ in ends],
        "x": [high - low for low, high in ends],
        "marker": {"color": BLUE, "opacity": 0.6, "line": {"width": 1, "color": INK}},
        "text": [f"{_months(s.low)} to {_months(s.high)}" for s in told],
        "textposition": "outside",
        "hovertemplate": "%{y}: %{text} months<extra></extra>",
    }
    chart = figure([bars], y_title="", x_title="months until it has paid", height=50 + 17 * max(len(told), 1))
    layout = chart["layout"]
    layout["showlegend"] = False
    layout["margin"] |= {"t": 4, "b": 30}
    middle = case.money.middle
    widest = max([high for _, high in ends] + ([middle] if math.isfinite(middle) else []), default=1.0)
    layout["xaxis"] |= {"range": [0, 1.22 * widest]}
    if math.isfinite(middle) and middle <= widest:
        layout["shapes"].append({
            "type": "line", "xref": "x", "x0": middle, "x1": middle, "yref": "paper", "y0": 0, "y1": 1,
            "line": {"color": INK, "width": 1.4, "dash": "dot"},
        })  # fmt: skip
    return chart
