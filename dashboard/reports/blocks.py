"""A report as a list of pieces, drawn on screen and on paper from the same list."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

from dash import dcc, html
from markupsafe import Markup, escape

from dashboard.figures.frame import CONFIG, Figure
from dashboard.markup import made


@dataclass(frozen=True)
class Chart:
    """A chart with what it shows in words."""

    figure: Figure
    label: str


@dataclass(frozen=True)
class Beside:
    """Charts next to one another under one heading; a page never breaks between them."""

    heading: str
    charts: tuple[Chart, ...]


Block = Markup | Chart | Beside


@dataclass(frozen=True)
class Report:
    """What is printed.

    Attributes
    ----------
    title : str
    blocks : tuple of Block
    foot : str
        Where the figures come from: query date, digests.
    wide : bool
        Paper lies on its long side.
    """

    title: str
    blocks: tuple[Block, ...]
    foot: str
    wide: bool = False

    @property
    def charts(self) -> list[Chart]:
        """All charts in order."""
        found: list[Chart] = []
        for block in self.blocks:
            if isinstance(block, Chart):
                found.append(block)
            elif isinstance(block, Beside):
                found += block.charts
        return found


def on_screen(report: Report) -> list[Any]:
    """The report as the body of a page."""
    body: list[Any] = []
    for block in report.blocks:
        if isinstance(block, Markup):
            body.append(made(block, class_="page"))
        elif isinstance(block, Chart):
            body.append(_graph(block))
        else:
            body.append(made(Markup("<h3>%s</h3>") % block.heading, class_="page"))
            body.append(html.Div([_graph(chart) for chart in block.charts], className="beside"))
    body.append(made(Markup('<p class="hint hash">%s</p>') % report.foot, class_="page"))
    return body


def _graph(chart: Chart) -> html.Div:
    label: dict[str, Any] = {"aria-label": chart.label}
    graph = dcc.Graph(
        figure=chart.figure,
        config=CONFIG,
        responsive=True,
        style={"height": chart.figure["layout"]["height"]},
    )
    return html.Div(graph, role="group", className="chart", **label)


PAPER_WIDTH = {False: 672, True: 1000}
"""Width of what is printed on A4, upright and on its long side. [CSS pixels]"""


def on_paper(report: Report) -> str:
    """The report as one HTML file that needs nothing else: the archive copy, and what is printed.

    Returns
    -------
    str
        The same report gives the same text.
    """
    pieces: list[Markup] = []
    drawn: list[Figure] = []

    def place(chart: Chart, width: float) -> Markup:
        layout = {
            **chart.figure["layout"],
            "width": round(width),
            "paper_bgcolor": "#fff",
            "plot_bgcolor": "#fff",
        }
        layout["font"] = {**layout.get("font", {}), "family": "sans-serif", "color": "#1b2430"}
        drawn.append({"data": chart.figure["data"], "layout": layout})
        return Markup('<div class="chart" id="chart-%d" role="img" aria-label="%s"></div>') % (
            len(drawn) - 1,
            chart.label,
        )

    full = PAPER_WIDTH[report.wide]
    for block in report.blocks:
        if isinstance(block, Markup):
            pieces.append(block)
        elif isinstance(block, Chart):
            pieces.append(Markup("<figure>%s</figure>") % place(block, full))
        else:
            width = (full - 12 * (len(block.charts) - 1)) / len(block.charts)
            inner = Markup("").join(place(chart, width) for chart in block.charts)
            pieces.append(
                Markup('<figure class="beside"><figcaption>%s</figcaption><div>%s</div></figure>')
                % (block.heading, inner)
            )
    pieces.append(Markup('<p class="foot">%s</p>') % report.foot)
    script = Markup("")
    if drawn:
        told = json.dumps(drawn, ensure_ascii=True, separators=(",", ":")).replace("</", "<\\/")
        script = Markup("<script>%s</script><script>%s</script>") % (
            Markup(_chart_library()),
            Markup(
                f"const charts={told};charts.forEach((c,i)=>Plotly.newPlot('chart-'+i,c.data,c.layout,"
                "{staticPlot:true,displayModeBar:false,showSendToCloud:false}));"
            ),
        )
    sheet = "size:A4 landscape;margin:13mm 14mm 15mm" if report.wide else "size:A4;margin:10mm 14mm 12mm"
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(report.title)}</title><style>{_style()}@page{{{sheet}}}</style></head>"
        f'<body class="{"wide" if report.wide else "upright"}"><main>{Markup("").join(pieces)}</main>'
        f"{script}</body></html>\n"
    )


@cache
def _chart_library() -> str:
    """The chart library that the pages use too, so that a chart on paper is the chart on screen."""
    import plotly

    return (Path(plotly.__file__).parent / "package_data" / "plotly.min.js").read_text(encoding="utf-8")


@cache
def _style() -> str:
    return resources.files("dashboard.reports").joinpath("paper.css").read_text(encoding="utf-8")
