"""A gauge against its masters: its checks, bias, repeats, setting, re-sets."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, datetime

import numpy as np
import pandas as pd

from ingest.answers.gauges import CheckPoint, MasterFact, ResetFact, SettingFact
from ingest.answers.processes import EventFact
from ingest.assessing.assessment import AssessedProcess
from ingest.state.moment import Moment
from spc.errors import SpcError
from spc.gauges.error import mean_error, step_between
from spc.gauges.master import linearity
from spc.gauges.trial import gauge_study
from spc.mean_squares import Ranged

BEFORE, AFTER = 3, 8
"""Checks before and after a re-set that tell how far it moved the gauge: before it the gauge may have been
drifting, so that only the last few speak of where it stood."""
FEW_DAYS = 10

Span = tuple[date, date | None]


def off_on(spans: Sequence[Span], day: date) -> bool:
    """Whether a day lies in one of the times in which a gauge was off."""
    return any(first <= day and (last is None or day <= last) for first, last in spans)


def check_points(moment: Moment, gauge: str, spans: Sequence[Span]) -> tuple[CheckPoint, ...]:
    """Checks of a gauge, oldest first.

    Parameters
    ----------
    moment : Moment
    gauge : str
    spans : sequence of (date, date or None)
        Times in which it was off.
    """
    plan, resolved = moment.known.plan, moment.resolved
    rows = resolved.readings
    rows = rows[
        (rows["role"] == "checks")
        & (rows["gauge"] == gauge)
        & rows["status"].isin(["used", "repeat"])
        & (rows["fam"] >= 0)
    ]
    found = []
    for (name, code), mine in rows.groupby(["part", "fam"], sort=False):
        master = resolved.families[int(code)]  # type: ignore[arg-type]
        if master not in plan.masters:
            continue
        mine = mine.sort_values(["when", "position", "line"], kind="stable")
        when = moment.calendar.local(pd.Timestamp(mine["when"].max()).to_pydatetime())
        degrees = mine["gauge_temp"].where(mine["gauge_temp"].notna(), mine["part_temp"]).dropna()
        size = float(plan.masters[master].size)
        found.append(
            CheckPoint(
                time=when,
                name=str(name),
                master=master,
                readings=tuple(float(v) - size for v in mine["value"]),
                temperature=float(degrees.median()) if len(degrees) else None,
                suspect=off_on(spans, when.date()),
            )
        )
    return tuple(sorted(found, key=lambda c: (c.time, c.master)))


def root(variance: Ranged | None) -> Ranged | None:
    """A standard deviation from a variance; None of a variance that came out as 0 without an upper end."""
    if variance is None:
        return None
    low, high = variance.lower, variance.upper
    return Ranged(
        math.sqrt(variance.estimate),
        None if low is None else math.sqrt(max(low, 0.0)),
        None if high is None else math.sqrt(high),
    )


def master_facts(moment: Moment, checks: Sequence[CheckPoint]) -> tuple[MasterFact, ...]:
    """Bias, repeats and setting on each master, from checks made while the gauge was not off."""
    plan, found = moment.known.plan, []
    sound = [c for c in checks if not c.suspect]
    for key in sorted({c.master for c in sound}):
        mine = [c for c in sound if c.master == key]
        readings = [e for c in mine for e in c.readings]
        repeat = setting = None
        if len(mine) > 1 and len(readings) > len(mine):
            try:
                study = gauge_study(
                    readings,
                    [i for i, c in enumerate(mine) for _ in c.readings],
                    np.zeros(len(readings), dtype=int),
                )
                repeat, setting = root(study.repeatability), root(study.part)
            except SpcError:
                # All readings equal: the steps of the scale hide both, which the resolution tells of.
                repeat = setting = None
        found.append(
            MasterFact(
                master=key,
                name=plan.masters[key].name,
                size=float(plan.masters[key].size),
                checks=len(mine),
                readings=len(readings),
                bias=mean_error([c.error for c in mine]),
                repeat=repeat,
                setting=setting,
            )
        )
    return tuple(found)


def growth(moment: Moment, checks: Sequence[CheckPoint]) -> tuple[Ranged | None, str]:
    """By how much the bias grows with the size of the master, and why that cannot be told."""
    sound = [c for c in checks if not c.suspect]
    sizes = [float(moment.known.plan.masters[c.master].size) for c in sound]
    if len(set(sizes)) < 2:
        return (
            None,
            "it was checked on one master only, which cannot show whether its error grows with the size",
        )
    try:
        errors = [c.error + size for c, size in zip(sound, sizes, strict=True)]
        return linearity(errors, sizes).slope, ""
    except SpcError as error:
        return None, str(error)


def reset_facts(checks: Sequence[CheckPoint], events: Sequence[EventFact]) -> tuple[ResetFact, ...]:
    """How far each re-set or repair moved the gauge, newest first; events without checks on both sides are left out."""
    found = []
    stops: list[datetime] = sorted(e.time for e in events)
    for event in events:
        earlier = max((t for t in stops if t < event.time), default=None)
        later = min((t for t in stops if t > event.time), default=None)
        before = [c.error for c in checks if c.time < event.time and (earlier is None or c.time > earlier)]
        after = [c.error for c in checks if c.time > event.time and (later is None or c.time < later)]
        before, after = before[-BEFORE:], after[:AFTER]
        if before and after:
            found.append(ResetFact(event, len(before), len(after), step_between(before, after)))
    return tuple(sorted(found, key=lambda f: f.event.time, reverse=True))


def setting_fact(moment: Moment, done: AssessedProcess) -> SettingFact | None:
    """How much the parts of a process differ from day to day beyond part to part.

    None with fewer than `FEW_DAYS` days of two parts. Families are taken to their own means first.
    """
    plan, facts = moment.known.plan, done.facts
    feature = plan.features[facts.feature]
    if feature.scale == "log" or feature.derive is not None:
        return None
    means = np.asarray(done.assessment.mean, dtype=float)
    sound = np.isfinite(means) & np.array([v not in ("signal", "aside", "check") for v in done.verdicts])
    day, family = facts.data.day, facts.data.family
    for code in np.unique(family):
        own = sound & (family == code)
        if own.any():
            means[own] -= means[own].mean()
    days, counts = np.unique(day[sound], return_counts=True)
    kept = sound & np.isin(day, days[counts > 1])
    if len(np.unique(day[kept])) < FEW_DAYS:
        return None
    try:
        study = gauge_study(means[kept], day[kept], np.zeros(int(kept.sum()), dtype=int))
    except SpcError:
        return None
    sd = root(study.part)
    assert sd is not None
    return SettingFact(
        process=facts.process,
        feature_name=feature.name,
        sd=sd,
        days=len(np.unique(day[kept])),
        parts=int(kept.sum()),
        declared=bool(feature.daily_setting),
        display=feature.display,
        decimals=feature.decimals,
    )
