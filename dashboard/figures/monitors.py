"""One chart a question: each watch over a process against its line, places on a part, spread on a part."""

from __future__ import annotations

import math
from typing import Any

from dashboard.figures.frame import (
    BLUE,
    FAMILY_COLOURS,
    FAMILY_SYMBOLS,
    GREY,
    VERMILION,
    Figure,
    figure,
    month_ticks,
    packed,
)
from ingest.answers.processes import MonitorTrace, ProcessView
from spc.units import from_base

QUESTIONS = {
    "level": "Has the level moved?",
    "scatter": "Do blocks differ more from one another than they did?",
    "tool life": "Is the tool older than those before it were?",
}
SPREAD = "spread within part"


def question(name: str, axes: tuple[str, ...], thing: str = "block") -> str:
    """What a watch asks, in words.

    Parameters
    ----------
    name : str
        Of the watch; a spread within the part carries the number of its level, from 1.
    axes : tuple of str
        Axes of the feature's places, coarse to fine.
    thing : str
        What is measured: a block, or the check of a gauge.
    """
    if name.startswith(SPREAD):
        level = name.removeprefix(SPREAD).strip()
        if level.isdecimal() and 0 < int(level) <= len(axes):
            axis = axes[int(level) - 1]
            return f"Does one {thing} differ more from {axis} to {axis} than it did?"
        return f"Do the places on one {thing} differ more than they did?"
    return QUESTIONS.get(name, f"What does the watch over {name} say?").replace("blocks", f"{thing}s")


def thing_of(view: ProcessView) -> str:
    """What the points of a process are: blocks, or the checks of a gauge on its master."""
    return "check" if view.row.is_gauge else "block"


def _time_axis(view: ProcessView, chart: Figure, low: int) -> Figure:
    places, texts = month_ticks([part.time for part in view.parts[low:]])
    chart["layout"]["xaxis"] |= {"tickvals": [p + low for p in places], "ticktext": texts}
    return chart


def monitor_chart(view: ProcessView, trace: MonitorTrace, *, last: int | None = None) -> Figure:
    """A watch over the parts, with its line; crossing it is what raises a signal."""
    low = max(0, len(view.parts) - last) if last else 0
    x = packed(range(low, len(view.parts)), whole=True)
    statistic, limit = trace.statistic[low:], trace.limit[low:]
    life = trace.name == "tool life"
    name, title = ("uses of the tool", "uses") if life else ("evidence of a change", "evidence")
    line: dict[str, Any] = {"color": VERMILION, "width": 1.4, "dash": "dash"}
    traces: list[dict[str, Any]] = [
        {"type": "scatter", "mode": "lines", "x": x, "y": packed(statistic), "name": name,
         "line": {"color": BLUE, "width": 1.6},
         "text": [part.serial for part in view.parts[low:]],
         "hovertemplate": "%{text}: %{y:.2f}<extra></extra>"},
        {"type": "scatter", "mode": "lines", "x": x, "y": packed(limit), "name": "a signal beyond this",
         "line": line, "hoverinfo": "skip"},
    ]  # fmt: skip
    return _time_axis(view, figure(traces, y_title=title, height=230), low)


def spread_chart(view: ProcessView, levels: tuple[str, ...], *, last: int | None = None) -> Figure | None:
    """Spread between the places on one part, one row of points a level of the position hierarchy.

    Returns
    -------
    dict or None
        None when no part has two places.
    """
    low = max(0, len(view.parts) - last) if last else 0
    parts = view.parts[low:]
    depth = max((len(part.spread) for part in parts), default=0)
    if not any(math.isfinite(value) for part in parts for value in part.spread):
        return None
    unit = view.row.display
    factor = 100.0 if view.row.log else from_base(1.0, unit)
    traces = []
    for level in range(depth):
        values = [part.spread[level] if level < len(part.spread) else math.nan for part in parts]
        name = levels[level] if level < len(levels) else f"level {level + 1}"
        traces.append({
            "type": "scatter", "mode": "markers", "name": f"between {name}",
            "x": [part.index for part in parts],
            "y": [value * factor if math.isfinite(value) else None for value in values],
            "text": [part.serial for part in parts], "hovertemplate": "%{text}: %{y:.3g}<extra></extra>",
            "marker": {"size": 5, "color": FAMILY_COLOURS[level % 6], "symbol": FAMILY_SYMBOLS[level % 6]},
        })  # fmt: skip
    title = f"spread on a {thing_of(view)}, " + ("%" if view.row.log else ("µm" if unit == "um" else unit))
    return _time_axis(view, figure(traces, y_title=title, height=260), low)


def position_chart(view: ProcessView, names: list[str]) -> Figure | None:
    """Lasting offset of each place from the part mean.

    Parameters
    ----------
    view : ProcessView
        The process.
    names : list of str
        The places as people say them, one for each of ``view.positions``.

    Returns
    -------
    dict or None
        None when fewer than two places are known.
    """
    known = [(name, at) for name, at in zip(names, view.position_offsets, strict=True) if math.isfinite(at)]
    if len(known) < 2:
        return None
    names = [name for name, _ in known]
    factor = 100.0 if view.row.log else from_base(1.0, view.row.display)
    unit = "%" if view.row.log else ("µm" if view.row.display == "um" else view.row.display)
    values = [offset * factor for _, offset in known]
    stems = [end for value in values for end in (0.0, value, None)]
    places = [name for name in names for _ in range(3)]
    traces = [
        {"type": "scatter", "mode": "lines", "x": stems, "y": places, "line": {"color": GREY, "width": 2},
         "hoverinfo": "skip", "showlegend": False},
        {"type": "scatter", "mode": "markers", "x": values, "y": names, "marker": {"size": 9, "color": BLUE},
         "hovertemplate": "%{y}: %{x:.3g} " + unit + "<extra></extra>", "showlegend": False},
    ]  # fmt: skip
    chart = figure(
        traces, y_title="", x_title=f"from the {thing_of(view)}'s mean, {unit}", height=90 + 22 * len(names)
    )
    chart["layout"]["yaxis"] |= {"autorange": "reversed", "showgrid": True}
    chart["layout"]["xaxis"] |= {"zeroline": True, "zerolinecolor": GREY, "showgrid": True}
    return chart
