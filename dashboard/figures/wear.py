"""Lives of a tool over one another by use, the current one on top, with the usual course and the limits."""

from __future__ import annotations

from typing import Any

from dashboard.figures.frame import BLUE, GREY, ORANGE, VERMILION, Figure, figure, packed
from dashboard.words.amounts import unit_text
from ingest.answers.wear import WearView
from spc.units import from_base

OLD = "rgba(138,143,152,0.45)"

CROWDED = 150
"""Parts of one life beyond which a line between them hides more than it shows."""


def wear_chart(view: WearView, families: dict[str, str]) -> Figure:
    """Every life of a tool by use.

    Parameters
    ----------
    view : WearView
    families : dict
        Family key to what people see.
    """
    unit = view.display

    def shown(value: float) -> float:
        return from_base(value, unit)

    traces: list[dict[str, Any]] = []
    earlier = [life for life in view.lives if life.ended_with is not None]
    for clean, name, colour in (
        (True, "earlier sets", OLD),
        (False, "earlier sets that had trouble", ORANGE),
    ):
        x: list[float] = []
        y: list[float] = []
        texts: list[str] = []
        for life in earlier:
            if life.clean is clean:
                # A gap between lives, so that one trace can hold them all.
                x += [*life.uses, float("nan")]
                y += [*map(shown, life.values), float("nan")]
                texts += [life.tool or "earlier set"] * (len(life.uses) + 1)
        if x:
            traces.append({
                "type": "scatter",
                "mode": "lines",
                "name": name,
                "x": packed(x),
                "y": packed(y),
                "text": texts,
                "line": {"width": 1, "color": colour},
                "hovertemplate": "%{text}<br>%{x:.0f} " + view.left.unit + ", %{y:.4~g} " + unit_text(unit)
                + "<extra></extra>",
            })  # fmt: skip
    if view.usual:
        traces.append({
            "type": "scatter",
            "mode": "lines",
            "name": "usual course",
            "x": packed([u for u, _ in view.usual]),
            "y": packed([shown(v) for _, v in view.usual]),
            "line": {"width": 3, "color": GREY, "dash": "dash"},
            "hoverinfo": "skip",
        })  # fmt: skip
    for life in view.lives:
        if life.ended_with is None:
            traces.append({
                "type": "scatter",
                "mode": "lines+markers" if len(life.uses) <= CROWDED else "markers",
                "name": f"{life.tool or 'this set'}, on the machine",
                "x": packed(life.uses),
                "y": packed([shown(v) for v in life.values]),
                "line": {"width": 2, "color": BLUE},
                "marker": {"size": 6 if len(life.uses) <= CROWDED else 3, "color": BLUE},
                "hovertemplate": "%{x:.0f} " + view.left.unit + ", %{y:.4~g} " + unit_text(unit)
                + "<extra></extra>",
            })  # fmt: skip
    title = f"{view.feature_name}, {unit_text(unit)}" if view.log else f"from target, {unit_text(unit)}"
    chart = figure(traces, y_title=title, x_title=f"{view.left.unit} since the set was renewed", height=360)
    longest = max([view.left.uses, *(life.length for life in view.lives)], default=1.0)
    seen: dict[tuple[str, float], list[str]] = {}
    for family, low, high in view.limits:
        for side, limit in (("lower", low), ("upper", high)):
            if limit is not None:
                seen.setdefault((side, limit), []).append(families.get(family, family))
    for (side, limit), names in seen.items():
        place = shown(limit)
        chart["layout"]["shapes"].append(
            {"type": "line", "x0": 0, "x1": longest * 1.05, "y0": place, "y1": place,
             "line": {"color": VERMILION, "width": 1.5, "dash": "dot"}}
        )  # fmt: skip
        few = "" if len(names) == len(view.limits) else " " + ", ".join(names)
        chart["layout"]["annotations"].append(
            {"x": 0, "xref": "paper", "xanchor": "left", "y": place, "yanchor": "bottom" if side == "lower" else "top",
             "text": f"{side} limit{few}", "showarrow": False, "font": {"size": 12, "color": VERMILION}}
        )  # fmt: skip
    _forecast(chart, view)
    return chart


def _forecast(chart: Figure, view: WearView) -> None:
    """When the limit comes: a bar from the 10 % to the 90 % point."""
    left = view.left
    if left.p10 is None or left.limit is None:
        return
    limit = next(
        (value for family, low, high in view.limits if family == left.family
         for value in ((high,) if left.side > 0 else (low,)) if value is not None),
        None,
    )  # fmt: skip
    if limit is None:
        return
    end = left.p90 if left.p90 is not None else left.horizon
    x = [left.uses + left.p10, left.uses + end]
    chart["data"].append({
        "type": "scatter",
        "mode": "lines",
        "name": "limit reached (8 of 10)" if left.p90 is not None else "limit reached (earliest shown)",
        "x": packed(x),
        "y": packed([from_base(limit, view.display)] * 2),
        "line": {"width": 8, "color": ORANGE},
        "hovertemplate": "%{x:.0f} " + left.unit + "<extra></extra>",
    })  # fmt: skip
    if left.p50 is not None:
        chart["data"].append({
            "type": "scatter",
            "mode": "markers",
            "name": "most likely",
            "x": packed([left.uses + left.p50]),
            "y": packed([from_base(limit, view.display)]),
            "marker": {"size": 13, "symbol": "diamond", "color": VERMILION},
            "hovertemplate": "%{x:.0f} " + left.unit + "<extra></extra>",
        })  # fmt: skip
