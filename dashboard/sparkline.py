"""A small picture of the recent life of a process, as inline SVG made here and not by the browser."""

from __future__ import annotations

import math
from collections.abc import Sequence

from markupsafe import Markup, escape

WIDTH, HEIGHT, PAD = 168, 44, 4


def sparkline(
    values: Sequence[float],
    band: tuple[float, float] | None,
    *,
    log: bool = False,
    label: str,
    marked: int = 0,
) -> Markup:
    """Part means from left to right, the expected band behind them, the last part marked.

    Parameters
    ----------
    values : sequence of float
        Part means, oldest first.
    band : (float, float) or None
        Where the next part is expected, in the unit of `values`.
    log : bool
        Draw on a log scale (values must then be positive; others are left out).
    label : str
        What the picture shows, for those who cannot see it.
    marked : int
        How many of the last parts to draw as dots: those since the change.

    Returns
    -------
    Markup
        An ``<svg>``; an empty frame that says so when there is nothing to draw.
    """
    scale = (lambda v: math.log(v) if v > 0 else math.nan) if log else float
    points = [scale(v) for v in values]
    shown = [v for v in points if math.isfinite(v)]
    edges = [v for v in (map(scale, band) if band else ()) if math.isfinite(v)]
    if not shown:
        return Markup(
            '<svg class="spark" viewBox="0 0 {} {}" role="img" aria-label="{}">'
            '<line class="axis" x1="4" x2="164" y1="22" y2="22"/></svg>'
        ).format(WIDTH, HEIGHT, f"{label}: nothing measured yet")
    low, high = min(shown + edges), max(shown + edges)
    span = (high - low) or 1.0
    step = (WIDTH - 2 * PAD) / max(1, len(points) - 1)

    def y(value: float) -> float:
        return HEIGHT - PAD - (value - low) / span * (HEIGHT - 2 * PAD)

    pieces = [f'<svg class="spark" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escape(label)}">']
    if len(edges) == 2:
        top, bottom = y(max(edges)), y(min(edges))
        height = max(1.0, bottom - top)
        pieces.append(f'<rect class="band" x="0" width="{WIDTH}" y="{top:.1f}" height="{height:.1f}"/>')
    places = [(PAD + i * step, y(v)) for i, v in enumerate(points) if math.isfinite(v)]
    path = "L".join([f"{x:.1f} {v:.1f}" for x, v in places])
    pieces.append(f'<path class="trace" d="M{path}"/>')
    dots = places[-marked:] if marked else []
    pieces += [f'<circle class="since" cx="{x:.1f}" cy="{v:.1f}" r="2.3"/>' for x, v in dots]
    x, v = places[-1]
    pieces.append(f'<circle class="last" cx="{x:.1f}" cy="{v:.1f}" r="3.2"/></svg>')
    return Markup("".join(pieces))  # numbers and the escaped label only
