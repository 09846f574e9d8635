"""The parts of a machine around a day, feature by feature, for a service case."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ingest.assessing.assessment import ProcessState
from ingest.assessing.facts import ProcessFacts
from ingest.plans.calendar import instant_of
from ingest.plans.limits import EPOCH, HAIR
from ingest.readings.tables import FeatureTable
from ingest.state.moment import Moment
from spc.change.service_effect import Served

Bools = NDArray[np.bool_]


def machine_processes(moment: Moment, machine: str) -> list[ProcessFacts]:
    """Processes that a machine makes, in order; checks and audits of gauges are none."""
    facts = moment.facts
    return [
        one
        for one in facts.processes.values()
        if one.machine == machine and facts.tables.get(one.feature) is one.table
    ]


def made_by_tool(moment: Moment, one: ProcessFacts) -> bool:
    """Whether a tool whose life is counted makes the feature."""
    return any(r.machine == one.machine and one.feature in r.features for r in moment.known.plan.renewals)


def days_of(one: ProcessFacts) -> NDArray[np.int64]:
    """Day of each part as `date.toordinal`."""
    return one.data.day + EPOCH


def between(one: ProcessFacts, first: date, last: date) -> Bools:
    """Which parts were made from one day to another and count."""
    day = days_of(one)
    return (day >= first.toordinal()) & (day <= last.toordinal()) & one.data.learn


def gauges_of(moment: Moment, one: ProcessFacts) -> NDArray[np.object_]:
    """Gauge that measured each part of a process; empty text where none is named."""
    plan, resolved = moment.known.plan, moment.resolved
    measured = plan.features[one.feature].of or one.feature
    if measured not in resolved.features:
        return np.full(len(one.parts), "", dtype=object)
    rows = resolved.readings
    code = resolved.features.index(measured)
    mine = rows[
        (rows["status"] == "used")
        & (rows["feat"] == code)
        & (rows["on"] == one.machine)
        & (rows["op"] == one.operation)
    ]
    latest = mine.dropna(subset=["gauge"]).drop_duplicates(["part", "pass_no"], keep="last")
    found = latest.set_index(["part", "pass_no"])["gauge"]
    wanted = pd.MultiIndex.from_frame(one.parts[["part", "pass_no"]])
    return found.reindex(wanted).fillna("").to_numpy(dtype=object)


def touched_gauges(moment: Moment, states: Sequence[ProcessState], first: date, last: date) -> frozenset[str]:
    """Gauges that something was done to, or whose checks had gone off, in some days."""
    plan, calendar = moment.known.plan, moment.calendar
    found: set[str] = set()
    events = moment.known.events
    for target, when in zip(events["target"], events["time"], strict=True):
        day = calendar.local(pd.Timestamp(when).to_pydatetime()).date()
        if target in plan.gauges and first <= day <= last:
            found.add(str(target))
    for state in states:
        if state.machine not in plan.gauges:
            continue
        if state.doubt is not None and calendar.local(instant_of(state.doubt_from)).date() <= last:
            found.add(state.machine)
        for s in state.signals:
            over = s.cure.time.date() if s.cure is not None else s.cleared_on
            if (
                s.monitor == "level"
                and s.status != "withdrawn"
                and s.changed <= last
                and (over is None or over >= first)
            ):
                found.add(state.machine)
    return frozenset(found)


def served(
    moment: Moment, one: ProcessFacts, chosen: Bools, when: datetime, touched: frozenset[str]
) -> Served:
    """Parts of one process as they are compared around a moment.

    A drift of a gauge moves all its readings alike and cancels in a difference, so that derived features keep the
    parts of a touched gauge.
    """
    plan, resolved = moment.known.plan, moment.resolved
    feature = plan.features[one.feature]
    readings = one.data.readings[chosen]
    if one.options.log:
        with np.errstate(invalid="ignore", divide="ignore"):
            readings = np.log(readings)
    at = np.datetime64(when.astimezone(UTC).replace(tzinfo=None), "us")
    times = one.parts["time"].to_numpy().astype("datetime64[us]")[chosen]
    names = np.array([*resolved.families, ""], dtype=object)
    gauges = gauges_of(moment, one)[chosen]
    return Served(
        name=one.process,
        readings=readings,
        after=times > at,
        family=[str(f) for f in names[one.data.family[chosen]]],
        gauge=[str(g) for g in gauges],
        touched=touched if feature.derive is None else frozenset(),
        wear=one.data.wear[chosen] if one.options.wears else None,
        day=one.data.day[chosen] if feature.daily_setting and feature.derive is None else None,
    )


@dataclass(frozen=True)
class Judged:
    """Parts of a machine against the limits of some features.

    Attributes
    ----------
    part : tuple of str
    family, day : int arrays
        `day` as `date.toordinal`.
    out : bool array
        Beyond a limit of any of the features.
    over : array
        How far the worst value is beyond its limit, in widths of the tolerance; negative within.
    """

    part: tuple[str, ...]
    family: NDArray[np.int64]
    day: NDArray[np.int64]
    out: Bools
    over: NDArray[np.float64]


def judged(moment: Moment, processes: Sequence[ProcessFacts], touched: frozenset[str]) -> Judged:
    """First passes of a machine, each with whether a value of these processes lay beyond a limit.

    What is computed from a feature without being watched by itself counts with it. Parts set aside by a person and
    parts without a limit are left out; so are whole sizes measured with a touched gauge.
    """
    plan, tables = moment.known.plan, moment.facts.tables
    found: dict[str, tuple[int, int, float]] = {}
    aside: set[str] = set()
    for one in processes:
        aside |= set(one.parts["part"].to_numpy()[~one.data.learn])
        keys = [one.feature] + [
            key for key, entry in plan.features.items() if entry.of == one.feature and not entry.monitor
        ]
        for key in keys:
            if key not in tables:
                continue
            table = tables[key]
            parts = table.parts
            rows = np.flatnonzero(
                (parts["on"] == one.machine) & (parts["op"] == one.operation) & (parts["pass_no"] == 1)
            )
            over = _over(table, rows, plan.features[key].judge == "absolute")
            if plan.features[key].derive is None and touched:
                doubtful = one.parts["part"].to_numpy()[np.isin(gauges_of(moment, one), list(touched))]
                over[np.isin(parts["part"].to_numpy()[rows], doubtful)] = np.nan
            columns = [parts[name].to_numpy()[rows] for name in ("part", "fam", "day")]
            for part, family, day, far in zip(*columns, over, strict=True):
                if np.isfinite(far):
                    before = found.get(part)
                    worst = float(far) if before is None else max(before[2], float(far))
                    found[part] = (int(family), int(day) + EPOCH, worst)
    kept = sorted(
        ((p, f, d, w) for p, (f, d, w) in found.items() if p not in aside), key=lambda x: (x[2], x[0])
    )
    over = np.array([w for *_, w in kept], dtype=float)
    return Judged(
        part=tuple(p for p, *_ in kept),
        family=np.array([f for _, f, _, _ in kept], dtype=np.int64),
        day=np.array([d for _, _, d, _ in kept], dtype=np.int64),
        out=over > 0,
        over=over,
    )


def _over(table: FeatureTable, rows: NDArray[np.intp], absolute: bool) -> NDArray[np.float64]:
    """How far the worst value of each row is beyond its limit, in widths of the tolerance; NaN without a limit."""
    values = np.abs(table.values[rows]) if absolute else table.values[rows]
    lower, upper = table.limits.lower[rows][:, None], table.limits.upper[rows][:, None]
    wide = np.where(
        np.isfinite(upper - lower), upper - lower, np.where(np.isfinite(upper), np.abs(upper), np.abs(lower))
    )
    above, below = (values - upper - HAIR) / wide, (lower - values - HAIR) / wide
    both = np.fmax(above, below)
    worst = np.full(len(rows), np.nan)
    some = np.isfinite(both).any(axis=1)
    worst[some] = np.nanmax(both[some], axis=1)
    return worst
