"""A gauge study, no shop: what `study` prints, for people and for programs."""

from __future__ import annotations

import json as as_json
import math

from dashboard.commands.study_file import StudyRows
from dashboard.words.gauges import ends_text, study_advice
from spc.gauges.trial import GaugeStudy, gauge_study
from spc.mean_squares import Ranged

_LINES = (
    ("repeatability", "the gauge itself, same hand"),
    ("operator", "from hand to hand"),
    ("interaction", "hands that differ by part"),
    ("reproducibility", "hands altogether"),
    ("gauge", "gauge and hands together"),
    ("part", "the parts"),
    ("total", "everything"),
)


def study_look(read: StudyRows, *, lower: float | None, upper: float | None, json: bool, name: str) -> str:
    """A gauge study as text or as one JSON object.

    Parameters
    ----------
    read : StudyRows
        What was read.
    lower, upper : float, optional
        Drawing limits, in the unit of the readings.
    json : bool
        One object for programs instead of text.
    name : str
        Of the file, for the first line.

    Returns
    -------
    str

    Raises
    ------
    ValueError
        Too little was measured, or the limits are impossible; the text says which.
    """
    study = gauge_study(read.reading, read.part, read.operator, lower=lower, upper=upper)
    if json:
        return as_json.dumps(study.to_dict(), ensure_ascii=False, allow_nan=False, indent=1)
    return _text(read, study, name)


def _text(read: StudyRows, study: GaugeStudy, name: str) -> str:
    lines = [
        f"{name}: {study.parts} parts, {study.operators} operators, {study.readings} readings, {read.understood}",
        "  standard deviation, with its 95 % interval",
    ]
    for key, words in _LINES:
        figure = getattr(study, key)
        if figure is not None:
            lines.append(f"  {key:<16} {_spread(figure)}   {words}")
    if study.percent_tolerance is not None:
        lines.append(
            f"  of the tolerance {ends_text(study.percent_tolerance, '{:.1f}')} % (six sigma of the gauge)"
        )
    lines.append(f"  of all that is seen {ends_text(study.percent_total_variation, '{:.1f}')} %")
    if study.ndc is not None:
        lines.append(f"  sizes it can tell apart {ends_text(study.ndc, '{:.0f}')}")
    lines.append(f"  {study.decision}")
    lines += [f"  {text}" for text in study_advice(study)]
    return "\n".join([*lines, *(f"  note: {text}" for text in study.warnings)])


def _spread(variance: Ranged) -> str:
    def root(value: float | None) -> float | None:
        return None if value is None else math.sqrt(value)

    return ends_text(
        Ranged(math.sqrt(variance.estimate), root(variance.lower), root(variance.upper)), "{:.4g}"
    )
