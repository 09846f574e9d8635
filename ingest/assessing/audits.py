"""Audits: the same part measured again on a second gauge, as a series of differences for each pair of gauges.

A hone that works to a drifting gauge makes wrong bores on a flat chart. Only something that does not pass through
that gauge can tell: a master, or a second gauge on the same part.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ingest.plans.calendar import microseconds
from ingest.plans.limits import InForce
from ingest.plans.model import Plan
from ingest.readings.resolve import Resolved
from ingest.readings.tables import FeatureTable, by_place

WARM = 3.0
"""A part this much warmer or colder than the parts of its day are says nothing of the gauge that read it: at 100 mm
of steel 3 degC are 3.5 micrometres. Common practice, no source. [degC]"""

_PLACE = ["feat", "part", "op", "pass_no", "slot"]


@dataclass(frozen=True)
class AuditSeries:
    """Parts that one gauge judged and another measured again.

    Attributes
    ----------
    gauge, reference, feature : str
        The gauge that judged the part, the one that measured it again, and what they measured; plan keys.
    table : FeatureTable
        A row per part, in order of the judging gauge's readings; values are judged less measured again, for a
        feature kept on the log scale their ratio. There are no limits.
    warm : DataFrame
        Parts left out because of their temperature: part, fam, time, part_temp, usual_temp.
    used : dict of str to int
        Latest use of either gauge in the series. [microseconds since 1970, UTC]
    """

    gauge: str
    reference: str
    feature: str
    table: FeatureTable
    warm: pd.DataFrame
    used: dict[str, int]


def paired(resolved: Resolved) -> pd.DataFrame:
    """Every place of a part that was read by the gauge that judged it and by another one.

    Parameters
    ----------
    resolved : Resolved

    Returns
    -------
    DataFrame
        feat, part, op, pass_no, slot, fam, gauge, reference, value, again, when (of the judging reading), seq,
        day, operator, audited, part_temp, usual_temp (of the parts read that day; NaN where no part has a temperature).
        A place audited more than once by a gauge counts with its latest.
    """
    rows = resolved.readings
    audits = rows[(rows["status"] == "audit") & rows["gauge"].notna() & (rows["slot"] >= 0)]
    audits = audits.sort_values(["when", "seq", "sha", "line"], na_position="first", kind="stable")
    audits = audits.drop_duplicates([*_PLACE, "gauge"], keep="last")
    audits = audits[[*_PLACE, "gauge", "value", "when"]].rename(
        columns={"gauge": "reference", "value": "again", "when": "audited"}
    )
    used = rows[
        (rows["status"] == "used") & rows["gauge"].notna() & rows["part"].isin(audits["part"].unique())
    ]
    kept = [*_PLACE, "fam", "gauge", "value", "when", "seq", "day", "operator", "part_temp"]
    pairs = used[kept].merge(audits, on=_PLACE, how="inner")
    pairs = pairs[pairs["gauge"] != pairs["reference"]]
    return pairs.assign(usual_temp=pairs["day"].map(usual_temperatures(resolved)).to_numpy(dtype=float))


def usual_temperatures(resolved: Resolved) -> dict[int, float]:
    """Temperature of the parts of each day: the median over parts, so that a few warm ones do not move it. [degC]"""
    rows = resolved.readings
    told = rows[rows["part_temp"].notna() & (rows["role"] != "checks")]
    parts = told.groupby(["day", "part", "op"], sort=True)["part_temp"].median()
    daily = parts.astype(float).groupby(level="day").median()
    return {int(day): float(degrees) for day, degrees in daily.items()}  # type: ignore[arg-type]


def audit_series(plan: Plan, resolved: Resolved) -> list[AuditSeries]:
    """The series of differences of every pair of gauges; a pure function of what was known.

    Parameters
    ----------
    plan : Plan
    resolved : Resolved

    Returns
    -------
    list of AuditSeries
        By gauge, reference and feature. A part that was warmer or colder than the parts of its day by `WARM` is
        left out: its difference tells of the temperature.
    """
    pairs = paired(resolved)
    pairs = pairs[pairs["gauge"].isin(list(plan.gauges)) & pairs["reference"].isin(list(plan.gauges))]
    found = []
    for (gauge, reference, code), rows in pairs.groupby(["gauge", "reference", "feat"], sort=True):
        key = resolved.features[int(code)]  # type: ignore[arg-type]
        off = (rows["part_temp"] - rows["usual_temp"]).abs().to_numpy(dtype=float) > WARM
        kept = rows[~off]
        if not len(kept):
            continue
        log = plan.features[key].scale == "log"
        used = {
            str(gauge): microseconds(pd.Timestamp(kept["when"].max())),
            str(reference): microseconds(pd.Timestamp(kept["audited"].max())),
        }
        table = _table(resolved, key, str(gauge), str(reference), kept, log)
        found.append(AuditSeries(str(gauge), str(reference), key, table, _warm(rows[off]), used))
    return found


def _table(
    resolved: Resolved, key: str, gauge: str, reference: str, rows: pd.DataFrame, log: bool
) -> FeatureTable:
    grouped = rows.groupby(["part", "pass_no"], sort=False)
    number = grouped.ngroup().to_numpy()
    parts = grouped.agg(
        fam=("fam", "max"),
        last=("when", "max"),
        seq=("seq", "max"),
        day=("day", "max"),
        who=("operator", "last"),
    ).reset_index()
    own = resolved.slots[key]
    read, again = rows["value"].to_numpy(dtype=float), rows["again"].to_numpy(dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        difference = read / again if log else read - again
    values = by_place(number, rows["slot"].to_numpy(), difference, len(parts), own)
    parts = parts.assign(on=gauge, op=reference, time=parts["last"], tool=None, gauge=gauge)
    order = parts.sort_values(["time", "seq", "part"], na_position="first", kind="stable").index
    nothing = np.full(len(parts), np.nan)
    return FeatureTable(
        key,
        parts.loc[order].reset_index(drop=True),
        values[order.to_numpy()],
        InForce(nothing, nothing, nothing),
        own,
    )


def _warm(rows: pd.DataFrame) -> pd.DataFrame:
    return (
        rows.groupby("part", sort=True)
        .agg(
            fam=("fam", "max"),
            time=("when", "max"),
            part_temp=("part_temp", "median"),
            usual_temp=("usual_temp", "median"),
        )
        .reset_index()
        .sort_values(["time", "part"], kind="stable")
        .reset_index(drop=True)
    )
