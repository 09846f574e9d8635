"""What all charts share: palette, axes, the settings of the chart library."""

from __future__ import annotations

import base64
import sys
from array import array
from collections.abc import Iterable
from typing import Any

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


def packed(values: Iterable[float], *, whole: bool = False) -> dict[str, str]:
    """Numbers in the chart library's own compact form: a fifth of the text, and quicker to write and to read.

    Parameters
    ----------
    values : iterable of float
        NaN leaves a gap.
    whole : bool
        They are whole numbers.
    """
    numbers = array("i", map(int, values)) if whole else array("f", values)
    if sys.byteorder == "big":
        numbers.byteswap()
    return {"dtype": "i4" if whole else "f4", "bdata": base64.b64encode(numbers.tobytes()).decode("ascii")}


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


def month_ticks(times: list[Any], *, most: int = 9) -> tuple[list[int], list[str]]:
    """Where a new month begins along parts in order, thinned until they have room.

    Parameters
    ----------
    times : list of datetime
        Of the parts, in order.
    most : int
        Most ticks wanted.

    Returns
    -------
    places, texts : list
        Index of the first part of a month, and its name.
    """
    starts = [
        i
        for i, t in enumerate(times)
        if i == 0 or (t.year, t.month) != (times[i - 1].year, times[i - 1].month)
    ]
    if len(starts) <= 2:
        starts = list(range(0, len(times), max(1, len(times) // 5)))
        return starts, [f"{times[i].day} {times[i]:%b}" for i in starts]
    every = -(-len(starts) // most)
    kept = starts[::every]
    if kept[1] - kept[0] < len(times) / (2 * most):
        kept = kept[1:]  # a month of which only a few parts are in sight has no room for its name
    return kept, [f"{times[i]:%b} {times[i].year}" for i in kept]
