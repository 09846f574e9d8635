"""What all charts share: palette, axes, the settings of the chart library."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

CONFIG: Any = {
    "showSendToCloud": False,
    "plotlyServerURL": "",
    "displaylogo": False,
    "responsive": True,
    "modeBarButtonsToRemove": ["select2d", "lasso2d", "autoScale2d", "zoomIn2d", "zoomOut2d"],
}
"""Given to every chart: nothing may leave the shop."""

# Okabe & Ito 2002; the style sheet has the same colours under the same names.
BLUE, ORANGE, GREEN, VERMILION = "#0072B2", "#E69F00", "#009E73", "#D55E00"
PURPLE, SKY, GREY = "#CC79A7", "#56B4E9", "#8A8F98"
FAMILY_COLOURS = (BLUE, GREEN, PURPLE, SKY, ORANGE, GREY)
FAMILY_SYMBOLS = ("circle", "square", "diamond", "triangle-up", "cross", "pentagon")
FAINT = "rgba(138,143,152,0.28)"

Figure = dict[str, Any]


def packed(values: Iterable[float] | NDArray[Any], *, whole: bool = False) -> dict[str, str]:
    """Numbers in the chart library's own compact form: a fifth of the text, and quicker to write and to read.

    Parameters
    ----------
    values : iterable or array of float
        NaN leaves a gap.
    whole : bool
        They are whole numbers.
    """
    numbers = values if isinstance(values, np.ndarray) else np.array(list(values), dtype=float)
    kind = "<i4" if whole else "<f4"
    return {"dtype": kind[1:], "bdata": base64.b64encode(numbers.astype(kind).tobytes()).decode("ascii")}


def figure(traces: list[dict[str, Any]], *, y_title: str, x_title: str = "", height: int = 340) -> Figure:
    """A chart with the shared look; text and grid take their colour from the style sheet.

    Parameters
    ----------
    traces : list of dict
        As the chart library takes them.
    y_title, x_title : str
        What the axes show, with unit.
    height : int
        In pixels.
    """
    axis = {"zeroline": False, "automargin": True, "gridcolor": FAINT, "linecolor": FAINT, "tickcolor": FAINT}
    return {
        "data": traces,
        "layout": {
            "height": height,
            "margin": {"l": 56, "r": 20, "t": 16, "b": 40},
            "paper_bgcolor": "rgba(0,0,0,0)",
            "plot_bgcolor": "rgba(0,0,0,0)",
            "font": {"family": "inherit", "size": 13, "color": GREY},
            "hovermode": "closest",
            "hoverlabel": {"align": "left"},
            "legend": {"orientation": "h", "y": 1.02, "yanchor": "bottom", "x": 0},
            "xaxis": axis | {"title": {"text": x_title}, "showgrid": False},
            "yaxis": axis | {"title": {"text": y_title}},
            "shapes": [],
            "annotations": [],
            "dragmode": "pan",
        },
    }


def month_ticks(
    times: Sequence[datetime], *, most: int = 9, months: NDArray[np.int32] | None = None
) -> tuple[list[int], list[str]]:
    """Where a new month begins along parts in order, thinned until they have room.

    Parameters
    ----------
    times : sequence of datetime
        Of the parts, in order.
    most : int
        Most ticks wanted.
    months : array of int, optional
        Months of the parts counted on through the years, where they are known already.

    Returns
    -------
    places, texts : list
        Index of the first part of a month, and its name.
    """
    if months is None:
        months = np.array([12 * t.year + t.month for t in times], dtype=np.int32)
    starts = [0, *(np.flatnonzero(np.diff(months)) + 1).tolist()] if len(months) else []
    if len(starts) <= 2:
        starts = list(range(0, len(times), max(1, len(times) // 5)))
        return starts, [f"{times[i].day} {times[i]:%b}" for i in starts]
    every = -(-len(starts) // most)
    kept = starts[::every]
    if kept[1] - kept[0] < len(times) / (2 * most):
        kept = kept[1:]  # a month of which only a few parts are in sight has no room for its name
    return kept, [f"{times[i]:%b} {times[i].year}" for i in kept]


def limit_line(layout: dict[str, Any], at: float, name: str) -> None:
    """Add a limit of the specification to a layout: a dashed line across, with its name at the right."""
    layout["shapes"].append({
        "type": "line", "xref": "paper", "x0": 0, "x1": 1, "yref": "y", "y0": at, "y1": at,
        "line": {"color": VERMILION, "width": 1.4, "dash": "longdash"},
    })  # fmt: skip
    layout["annotations"].append({
        "x": 1, "xref": "paper", "xanchor": "right", "y": at, "yref": "y", "yanchor": "bottom",
        "showarrow": False, "text": name, "font": {"size": 11, "color": VERMILION},
    })  # fmt: skip
