"""What planned trials of a gauge showed, with their pictures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dash import dcc, html

from dashboard.figures.frame import CONFIG, Figure
from dashboard.figures.gauges import trial_by_hand, trial_by_part
from dashboard.markup import join, made, table, tag
from dashboard.words.amounts import count, day
from dashboard.words.gauges import shares_text, study_advice, trial_rows

if TYPE_CHECKING:
    from ingest.answers.gauges import GaugeView


def graph(chart: Figure, label: str) -> html.Div:
    """A chart with its name for those who cannot see it."""
    named_as: dict[str, Any] = {"aria-label": label}
    drawn = dcc.Graph(
        figure=chart, config=CONFIG, responsive=True, style={"height": chart["layout"]["height"]}
    )
    return html.Div(drawn, role="group", className="chart", **named_as)


def trials(gauge: GaugeView) -> list[Any]:
    """The part of a gauge's page about its trials."""
    said = [f"The {name} says nothing: {why}." for name, why in gauge.refused.items() if name != "linearity"]
    if not gauge.studies:
        said.append("No trial of it was taken in.")
    head = tag("h2", "What have trials shown?") + join(tag("p", text, class_="empty") for text in said)
    body: list[Any] = [made(head, class_="page")]
    for fact in gauge.studies:
        study = fact.study
        size = f"{study.parts} parts, {count(study.operators, 'hand')}, {study.readings} readings"
        title = f"{fact.feature_name}, {day(fact.when)}: {size}"
        notes = (f"{study.decision[:1].upper()}{study.decision[1:]}.", *study.warnings)
        body.append(
            made(
                join(
                    (
                        tag("h3", title),
                        tag("ul", [tag("li", text) for text in study_advice(study)], class_="plain"),
                        table(("Spread", "Standard deviation", "Of all that is seen"), trial_rows(fact)),
                        tag("p", shares_text(study), class_="hint"),
                        tag("ul", [tag("li", note) for note in notes], class_="plain notes"),
                        tag("h3", "Do the hands read the parts alike?"),
                    )
                ),
                class_="page",
            )
        )
        body.append(graph(trial_by_part(fact), f"{title}: readings by part and hand"))
        body.append(made(tag("h3", "Does one hand read higher than the others?"), class_="page"))
        body.append(graph(trial_by_hand(fact), f"{title}: readings by hand"))
    return body
