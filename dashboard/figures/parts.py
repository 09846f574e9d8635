"""The chart of a process: the mean of every part, where it was expected, what was done, what was noticed."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

from dashboard.amounts import day, moment, unit_text
from dashboard.figures.frame import (
    FAMILY_COLOURS,
    FAMILY_SYMBOLS,
    GREY,
    ORANGE,
    VERMILION,
    Figure,
    figure,
    month_ticks,
    packed,
)
from ingest.board import EventFact, PartPoint, ProcessView, SignalFact
from spc.units import from_base

BAND = "rgba(138,143,152,0.35)"
REACH = 2.0
"""The expected band is this many standard errors of prediction to either side: 19 of 20 parts fall inside."""


def shower(view: ProcessView) -> Callable[[float], float]:
    """From a part's mean as charted by the shop to the number people see."""
    unit, log = view.row.display, view.row.log
    if log:
        return lambda value: from_base(math.exp(value), unit) if math.isfinite(value) else math.nan
    return lambda value: from_base(value, unit) if math.isfinite(value) else math.nan


def y_title(view: ProcessView) -> str:
    """What the chart's upright axis shows."""
    unit = unit_text(view.row.display)
    return f"{view.row.feature_name}, {unit}" if view.row.log else f"from target, {unit}"


def _band(parts: Sequence[tuple[int, PartPoint]], show: Callable[[float], float]) -> dict[str, Any]:
    known = [(x, p) for x, p in parts if math.isfinite(p.expected) and math.isfinite(p.expected_se)]
    middle = [show(part.expected) for _, part in known]
    upper = [show(part.expected + REACH * part.expected_se) for _, part in known]
    lower = [show(part.expected - REACH * part.expected_se) for _, part in known]
    return {
        "type": "scatter",
        "mode": "markers",
        "x": packed((place for place, _ in known), whole=True),
        "y": packed(middle),
        "name": "expected (19 of 20)",
        "marker": {"symbol": "line-ew-open", "size": 6, "color": GREY, "line": {"width": 1}},
        "error_y": {
            "symmetric": False,
            "array": packed(up - at for up, at in zip(upper, middle, strict=True)),
            "arrayminus": packed(at - down for at, down in zip(middle, lower, strict=True)),
            "thickness": 4,
            "width": 0,
            "color": BAND,
        },
        "hoverinfo": "skip",
    }


def _hover(part: PartPoint, shown: float, unit: str) -> str:
    wear = f"<br>{part.tool or 'tool'}, {part.wear:.0f} uses before" if part.wear is not None else ""
    aside = f"<br>set aside: {part.aside}" if part.aside else ""
    again = f", pass {part.pass_no}" if part.pass_no > 1 else ""
    return (
        f"{part.serial}{again}<br>{moment(part.time)}<br>{shown:.4g} {unit}, {part.n} readings{wear}{aside}"
    )


LOOKS: tuple[tuple[str, str], ...] = (("", ""), ("signal", " (in a signal)"), ("aside", " (set aside)"))


def _family(
    view: ProcessView,
    family: str,
    parts: Sequence[tuple[int, PartPoint]],
    show: Callable[[float], float],
    name: str,
) -> list[dict[str, Any]]:
    """One trace for ordinary blocks, one for those that raised a signal, one for those set aside."""
    which = view.families.index(family) if family in view.families else 0
    colour, symbol = FAMILY_COLOURS[which % len(FAMILY_COLOURS)], FAMILY_SYMBOLS[which % len(FAMILY_SYMBOLS)]
    unit = unit_text(view.row.display)
    markers = {
        "": {"size": 6, "color": colour, "symbol": symbol},
        "signal": {"size": 10, "color": colour, "symbol": symbol, "line": {"width": 2, "color": VERMILION}},
        "aside": {"size": 8, "color": GREY, "symbol": "x-thin-open", "line": {"width": 2, "color": GREY}},
    }
    traces = []
    for kind, suffix in LOOKS:
        own = [(x, p) for x, p in parts if (p.verdict if p.verdict in ("signal", "aside") else "") == kind]
        if not own:
            continue
        values = [show(part.mean) for _, part in own]
        traces.append({
            "type": "scatter",
            "mode": "markers",
            "name": name + suffix,
            "x": packed((place for place, _ in own), whole=True),
            "y": packed(values),
            "text": [_hover(part, value, unit) for (_, part), value in zip(own, values, strict=True)],
            "hovertemplate": "%{text}<br>%{fullData.name}<extra></extra>",
            "customdata": [f"{part.serial}/{part.pass_no}" for _, part in own],
            "marker": markers[kind],
        })  # fmt: skip
    return traces


def _marks(view: ProcessView, first: int, last: int) -> tuple[list[Any], list[Any]]:
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
        shapes += _signal(view, signal, first, last)
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


def _signal(view: ProcessView, signal: SignalFact, first: int, last: int) -> list[Any]:
    raised = next(
        (p.index for p in view.parts if p.serial == signal.serial and p.pass_no == signal.pass_no), None
    )
    if raised is None or not first <= raised <= last or signal.status == "withdrawn":
        return []
    begun = next((p.index for p in view.parts if p.time.date() >= signal.change_from), raised)
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
    show = shower(view)
    chosen = [part for part in view.parts if family in (None, part.family)]
    if last:
        chosen = chosen[-last:]
    placed = [(part.index, part) for part in chosen]
    traces = [_band(placed, show)]
    for key in view.families:
        own = [(place, part) for place, part in placed if part.family == key]
        if own:
            traces += _family(view, key, own, show, names.get(key, key))
    chart = figure(traces, y_title=y_title(view))
    if not placed:
        return chart
    first, final = placed[0][0], placed[-1][0]
    shapes, notes = _marks(view, first, final)
    span = [part for part in view.parts if first <= part.index <= final]
    places, texts = month_ticks([part.time for part in span])
    layout = chart["layout"]
    layout["shapes"], layout["annotations"] = shapes, notes
    layout["xaxis"] |= {
        "tickvals": [p + first for p in places],
        "ticktext": texts,
        "range": [first - 1, final + 1.5],
    }
    if family is not None:
        _drawing_limits(view, family, layout, [show(part.mean) for part in chosen])
    return chart


def _drawing_limits(view: ProcessView, family: str, layout: dict[str, Any], values: list[float]) -> None:
    """Drawing limits of one family, where they are near enough not to flatten the picture."""
    specs = [s for s in view.specifications if s.family == family and s.feature == view.row.feature]
    if not specs:
        return
    spec = max(specs, key=lambda s: s.valid_from)
    shown = [value for value in values if math.isfinite(value)]
    height = (max(shown) - min(shown)) if shown else 0.0
    middle = (max(shown) + min(shown)) / 2 if shown else 0.0
    base = 0.0 if view.row.log else spec.target
    levels = [
        (value, name) for value, name in ((spec.lower, "lower"), (spec.upper, "upper")) if value is not None
    ]
    if spec.absolute and spec.upper is not None:
        levels = [(-spec.upper, "lower"), (spec.upper, "upper")]
    for value, name in levels:
        y = from_base(value - base, view.row.display)
        if abs(y - middle) < 3 * max(height, 1e-12):
            layout["shapes"].append({
                "type": "line", "xref": "paper", "x0": 0, "x1": 1, "yref": "y", "y0": y, "y1": y,
                "line": {"color": VERMILION, "width": 1.4, "dash": "longdash"},
            })  # fmt: skip
            layout["annotations"].append({
                "x": 1, "xref": "paper", "xanchor": "right", "y": y, "yref": "y", "yanchor": "bottom",
                "showarrow": False, "font": {"size": 11, "color": VERMILION},
                "text": f"drawing limit, {name}, from {day(spec.valid_from)}",
            })  # fmt: skip
