"""Whether what is derived from a part's readings conforms: only what the readings do not share is in doubt."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ingest.gauges.judged import ConformFact, known_limits, weakest
from ingest.gauges.trusted import GaugeTrust
from ingest.readings.tables import derived_weights
from ingest.state.moment import Moment

BY_ITSELF = ("repeats", "step of the scale")
"""Parts of a gauge's uncertainty that differ from one reading to the next; a setting, a bias and the warmth of the day
are the same in all readings of one part and fall out of a difference."""


def derived_conforms(
    moment: Moment,
    trust: GaugeTrust,
    serial: str,
    rows: pd.DataFrame,
    last: Mapping[tuple[str, str], int],
) -> tuple[ConformFact, ...]:
    """What each derived feature of a part proves.

    Parameters
    ----------
    moment : Moment
    trust : GaugeTrust
        Of the same moment.
    serial : str
    rows : DataFrame
        Readings of the part that count and name a gauge.
    last : mapping
        Delivered pass of each (feature, operation).

    Returns
    -------
    tuple of ConformFact
        Delivered passes only; features with a limit. Where two gauges read one part their settings do not fall out,
        and nothing is said.

    References
    ----------
    .. [1] JCGM 100:2008 (GUM), 5.1.2: the uncertainty of a difference of means is the root of the sum of the squared
       weights times that of one reading. A range is taken as the difference of its two outermost readings (common
       practice, no source).
    """
    plan, found = moment.known.plan, []
    for key, table in moment.facts.tables.items():
        feature = plan.features[key]
        if feature.derive is None:
            continue
        for row in np.flatnonzero((table.parts["part"] == serial).to_numpy()).tolist():
            part = table.parts.iloc[row]
            lower, upper = known_limits(
                table.limits.lower[row], table.limits.upper[row], feature.judge == "absolute"
            )
            delivered = last.get((feature.of or "", part["op"])) == int(part["pass_no"])
            columns = np.flatnonzero(np.isfinite(table.values[row]))
            if (
                not delivered
                or part["op"] != feature.operation
                or (lower is None and upper is None)
                or not len(columns)
            ):
                continue
            mine = rows[
                (rows["feature"] == feature.of)
                & (rows["op"] == part["op"])
                & (rows["pass_no"] == part["pass_no"])
            ]
            gauges = sorted({str(g) for g in mine["gauge"]})
            if not gauges or any(g not in plan.gauges for g in gauges):
                continue
            gauge = gauges[0]
            known = trust.of(gauge, feature.of or key)
            one = 0.0 if known is None else math.hypot(*(known.parts.get(name, 0.0) for name in BY_ITSELF))
            why = "two gauges" if len(gauges) > 1 else "" if one > 0 else "no checks"
            read, standard = None, None
            if not why:
                lengths = _lengths(moment, key, serial, row, columns)
                places = [
                    (table.slots.positions[c], float(table.values[row, c]), one * float(length))
                    for c, length in zip(columns, lengths, strict=True)
                ]
                read = weakest(places, lower, upper)
                standard = read.uncertainty
            machine = part["on"]
            found.append(
                ConformFact(
                    feature=key,
                    feature_name=feature.name,
                    machine=machine if isinstance(machine, str) else None,
                    pass_no=int(part["pass_no"]),
                    gauge=gauge,
                    gauge_name=plan.gauges[gauge].name,
                    places=len(columns),
                    lower=lower,
                    upper=upper,
                    trust=known,
                    read=read,
                    warm=None,
                    heat=None,
                    why=why,
                    display=feature.display,
                    decimals=feature.decimals,
                    derived=True,
                    standard=standard,
                )
            )
    return tuple(found)


def _lengths(
    moment: Moment, key: str, serial: str, row: int, columns: NDArray[np.intp]
) -> NDArray[np.float64]:
    """By how much the uncertainty of one reading counts in each derived value of a part."""
    plan, tables = moment.known.plan, moment.facts.tables
    feature = plan.features[key]
    if feature.derive == "range":
        return np.full(len(columns), math.sqrt(2.0))
    table, base = tables[key], tables[feature.of or ""]
    part = table.parts.iloc[row]
    at = np.flatnonzero(
        (base.parts["part"] == serial).to_numpy()
        & (base.parts["op"] == part["op"]).to_numpy()
        & (base.parts["on"] == part["on"]).to_numpy()
        & (base.parts["pass_no"] == part["pass_no"]).to_numpy()
    )[0]
    family = moment.resolved.families[int(part["fam"])]
    weights = derived_weights(plan, key, family, base.slots, base.values[at])
    return np.linalg.norm(weights[columns], axis=1)
