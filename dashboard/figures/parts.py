"""The chart of a process: the mean of every part, where it was expected, what was done, what was noticed."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.figures.columns import Columns, Floats, columns
from dashboard.figures.frame import (
    FAMILY_COLOURS,
    FAMILY_SYMBOLS,
    GREY,
    ORANGE,
    VERMILION,
    Figure,
    figure,
    limit_line,
    month_ticks,
    packed,
)
from dashboard.words.amounts import day, unit_text
from ingest.answers.processes import EventFact, ProcessView, SignalFact
from spc.units import from_base, to_base

BAND = "rgba(138,143,152,0.35)"
Chosen = NDArray[np.bool_]
"""Which parts of a view, one entry a part."""


def shower(view: ProcessView) -> Callable[[float], float]:
    """From a part's mean as charted by the shop to the number people see."""
    factor = to_base(1.0, view.row.display)
    if view.row.log:
        return lambda value: math.exp(value) / factor if math.isfinite(value) else math.nan
    return lambda value: value / factor if math.isfinite(value) else math.nan


def y_title(view: ProcessView) -> str:
    """What the chart's upright axis shows."""
    unit = unit_text(view.row.display)
    return f"{view.row.feature_name}, {unit}" if view.row.log else f"from target, {unit}"


def _band(table: Columns, chosen: Chosen) -> dict[str, Any]:
    known = chosen & np.isfinite(table.expected)
    middle, upper, lower = table.expected[known], table.upper[known], table.lower[known]
    return {
        "type": "scatter",
        "mode": "markers",
        "x": packed(table.index[known], whole=True),
        "y": packed(middle),
        "name": "expected (19 of 20)",
        "marker": {"symbol": "line-ew-open", "size": 6, "color": GREY, "line": {"width": 1}},
        "error_y": {
            "symmetric": False,
            "array": packed(upper - middle),
            "arrayminus": packed(middle - lower),
            "thickness": 4,
            "width": 0,
            "color": BAND,
        },
        "hoverinfo": "skip",
    }


LOOKS = ("", " (in a signal)", " (set aside)")
"""What is added to the name of a family for parts of each kind."""


def _family(table: Columns, which: int, chosen: Chosen, name: str, unit: str) -> list[dict[str, Any]]:
    """One trace for ordinary blocks, one for those that raised a signal, one for those set aside."""
    colour, symbol = FAMILY_COLOURS[which % len(FAMILY_COLOURS)], FAMILY_SYMBOLS[which % len(FAMILY_SYMBOLS)]
    markers = (
        {"size": 6, "color": colour, "symbol": symbol},
        {"size": 10, "color": colour, "symbol": symbol, "line": {"width": 2, "color": VERMILION}},
        {"size": 8, "color": GREY, "symbol": "x-thin-open", "line": {"width": 2, "color": GREY}},
    )
    own = chosen & (table.family == which)
    traces = []
    for kind, (suffix, marker) in enumerate(zip(LOOKS, markers, strict=True)):
        at = own & (table.kind == kind)
        if not at.any():
            continue
        traces.append({
            "type": "scatter",
            "mode": "markers",
            "name": name + suffix,
            "x": packed(table.index[at], whole=True),
            "y": packed(table.mean[at]),
            "text": table.hovers[at].tolist(),
            "hovertemplate": f"%{{text}}<br>%{{y:.4~g}} {unit}<br>%{{fullData.name}}<extra></extra>",
            "customdata": table.keys[at].tolist(),
            "marker": marker,
        })  # fmt: skip
    return traces


def _marks(view: ProcessView, table: Columns, first: int, last: int) -> tuple[list[Any], list[Any]]:
    shapes: list[Any] = []
    notes: list[Any] = []
    crowded = [0.0]
    for index, event in view.events:
        if first <= index <= last + 1:
            place = index - 0.5
            shapes.append(_upright(place, GREY, "dot"))
            if place - crowded[-1] > (last - first) / 14 or len(crowded) == 1:
                notes.append(_note(place, _short(event), GREY))
                crowded.append(place)
    for signal in view.signals:
        shapes += _signal(table, signal, first, last)
    return shapes, notes


def _short(event: EventFact) -> str:
    return event.tool or event.kind_name


def _upright(x: float, colour: str, dash: str) -> dict[str, Any]:
    return {
        "type": "line", "xref": "x", "yref": "paper", "x0": x, "x1": x, "y0": 0, "y1": 1, "layer": "below",
        "line": {"color": colour, "width": 1.2, "dash": dash},
    }  # fmt: skip


def _note(x: float, text: str, colour: str) -> dict[str, Any]:
    return {
        "x": x, "y": 0, "xref": "x", "yref": "paper", "text": text, "showarrow": False, "textangle": -90,
        "xanchor": "right", "yanchor": "bottom", "font": {"size": 11, "color": colour},
    }  # fmt: skip


def _signal(table: Columns, signal: SignalFact, first: int, last: int) -> list[Any]:
    raised = table.place_of(signal.serial, signal.pass_no)
    if raised is None or not first <= raised <= last or signal.status == "withdrawn":
        return []
    begun = table.first_since(signal.change_from)
    begun = raised if begun is None else begun
    live = signal.status == "open"
    return [
        {
            "type": "rect", "xref": "x", "yref": "paper", "x0": max(first, begun) - 0.5, "x1": raised + 0.5,
            "y0": 0, "y1": 1, "layer": "below", "line": {"width": 0},
            "fillcolor": ORANGE if live else GREY, "opacity": 0.22 if live else 0.12,
        },
        _upright(raised, ORANGE if live else GREY, "solid"),
    ]  # fmt: skip


def part_chart(
    view: ProcessView, names: dict[str, str], *, family: str | None = None, last: int | None = None
) -> Figure:
    """Part means in order of machining.

    Parameters
    ----------
    view : ProcessView
        The process.
    names : dict
        Family key to the name people see.
    family : str, optional
        Show one family only, and its drawing limits if they are in sight.
    last : int, optional
        Only the last so many parts.

    Returns
    -------
    dict
        Figure; every point carries ``serial/pass`` as its custom data.
    """
    table = columns(view)
    which = {key: i for i, key in enumerate(view.families)}
    chosen = (
        np.full(len(view.parts), True) if family is None else table.family == which.get(family, len(which))
    )
    if last:
        chosen[np.flatnonzero(chosen)[:-last]] = False
    traces = [_band(table, chosen)]
    for key, place in which.items():
        traces += _family(table, place, chosen, names.get(key, key), unit_text(view.row.display))
    chart = figure(traces, y_title=y_title(view))
    at = np.flatnonzero(chosen)
    if not len(at):
        return chart
    span = slice(at[0], at[-1] + 1)
    first, final = int(table.index[at[0]]), int(table.index[at[-1]])
    shapes, notes = _marks(view, table, first, final)
    places, texts = month_ticks([part.time for part in view.parts[span]], months=table.months[span])
    layout = chart["layout"]
    layout["shapes"], layout["annotations"] = shapes, notes
    layout["xaxis"] |= {
        "tickvals": [p + first for p in places],
        "ticktext": texts,
        "range": [first - 1, final + 1.5],
    }
    if family is not None:
        _drawing_limits(view, family, layout, table.mean[chosen])
    return chart


def _drawing_limits(view: ProcessView, family: str, layout: dict[str, Any], values: Floats) -> None:
    """Drawing limits of one family, where they are near enough not to flatten the picture."""
    specs = [s for s in view.specifications if s.family == family and s.feature == view.row.feature]
    if not specs:
        return
    spec = max(specs, key=lambda s: s.valid_from)
    shown = values[np.isfinite(values)]
    low, high = (float(shown.min()), float(shown.max())) if len(shown) else (0.0, 0.0)
    height, middle = high - low, (low + high) / 2
    base = 0.0 if view.row.log else spec.target
    levels = [
        (value, name) for value, name in ((spec.lower, "lower"), (spec.upper, "upper")) if value is not None
    ]
    if spec.absolute and spec.upper is not None:
        levels = [(-spec.upper, "lower"), (spec.upper, "upper")]
    for value, name in levels:
        y = from_base(value - base, view.row.display)
        if abs(y - middle) < 3 * max(height, 1e-12):
            limit_line(layout, y, f"drawing limit, {name}, from {day(spec.valid_from)}")
