"""How the readings of one family lie: classes, the fitted curve, the limits of the drawing."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

from dashboard.figures.frame import BLUE, GREY, VERMILION, Figure, figure, packed
from dashboard.words.amounts import size_unit, unit_text
from ingest.answers.processes import ProcessView
from spc.units import from_base

if TYPE_CHECKING:
    from spc.capability.histogram import Histogram


def readings_chart(
    view: ProcessView, classes: Histogram, limits: tuple[float | None, float | None]
) -> Figure:
    """Counts of readings per class.

    Parameters
    ----------
    view : ProcessView
        The process, for its unit.
    classes : Histogram
        In the base unit.
    limits : pair of float or None
        Lower and upper limit of the drawing in the base unit; None where there is none.

    Returns
    -------
    dict
        Figure; the limits stay in sight even where no reading comes near them.
    """
    return classes_chart(view.row.display, view.row.decimals, classes, limits)


def classes_chart(
    display: str, decimals: int, classes: Histogram, limits: tuple[float | None, float | None]
) -> Figure:
    """Counts of readings per class, given the unit and the places they are shown with (see `readings_chart`)."""
    unit, places = size_unit(float(classes.edges[-1]), display, decimals)
    edges = [from_base(float(edge), unit) for edge in classes.edges]
    middles = [(low + high) / 2 for low, high in pairwise(edges)]
    known = [
        (from_base(value, unit), name)
        for value, name in zip(limits, ("lower limit", "upper limit"), strict=True)
        if value is not None
    ]
    traces: list[dict[str, Any]] = [
        {"type": "bar", "x": middles, "y": [int(n) for n in classes.counts],
         "width": [high - low for low, high in pairwise(edges)],
         "marker": {"color": BLUE, "opacity": 0.55, "line": {"width": 0}}, "name": "readings",
         "hovertemplate": f"about %{{x:.{places}f}} {unit_text(unit)}: %{{y}}<extra></extra>"},
    ]  # fmt: skip
    if len(classes.curve):
        traces.append({
            "type": "scatter", "mode": "lines", "name": "fitted shape", "hoverinfo": "skip",
            "x": [from_base(float(at), unit) for at in classes.curve_at], "y": packed(classes.curve),
            "line": {"color": GREY, "width": 2},
        })  # fmt: skip
    chart = figure(traces, y_title="readings", x_title=unit_text(unit), height=230)
    layout = chart["layout"]
    layout["bargap"] = 0
    for x, name in known:
        layout["shapes"].append({
            "type": "line", "xref": "x", "yref": "paper", "x0": x, "x1": x, "y0": 0, "y1": 1,
            "line": {"color": VERMILION, "width": 1.4, "dash": "longdash"},
        })  # fmt: skip
        layout["annotations"].append({
            "x": x, "xref": "x", "y": 1, "yref": "paper", "yanchor": "top", "text": name, "showarrow": False,
            "xanchor": "left" if name.startswith("lower") else "right",
            "font": {"size": 11, "color": VERMILION},
        })  # fmt: skip
    seen = edges + [x for x, _ in known]
    margin = 0.03 * (max(seen) - min(seen))
    layout["xaxis"] |= {"range": [min(seen) - margin, max(seen) + margin], "tickformat": f".{places}f"}
    return chart
