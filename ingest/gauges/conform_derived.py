"""Whether what is derived from a part's readings conforms: only what the readings do not share is in doubt."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ingest.gauges.judged import ConformFact, conform_fact, known_limits, weakest
from ingest.gauges.trusted import GaugeTrust
from ingest.readings.tables import derived_weights
from ingest.state.moment import Moment
from spc.gauges.trust import OF_RANGE, from_reading_to_reading, of_derived


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
            one = 0.0 if known is None else from_reading_to_reading([known])
            why = "two gauges" if len(gauges) > 1 else "" if one > 0 else "no checks"
            read, standard = None, None
            if not why:
                each = _uncertainty(moment, key, serial, row, columns, one)
                places = [
                    (table.slots.positions[c], float(table.values[row, c]), float(u))
                    for c, u in zip(columns, each, strict=True)
                ]
                read = weakest(places, lower, upper)
                standard = read.uncertainty
            found.append(
                conform_fact(
                    plan,
                    feature,
                    gauge,
                    part["on"],
                    int(part["pass_no"]),
                    len(columns),
                    (lower, upper),
                    known,
                    standard,
                    why,
                    read,
                )
            )
    return tuple(found)


def _uncertainty(
    moment: Moment, key: str, serial: str, row: int, columns: NDArray[np.intp], one: float
) -> NDArray[np.float64]:
    """Standard uncertainty of each derived value of a part, from that of one reading."""
    plan, tables = moment.known.plan, moment.facts.tables
    feature = plan.features[key]
    if feature.derive == "range":
        return np.full(len(columns), OF_RANGE * one)
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
    return of_derived(one, weights[columns])
