"""How much is left of the tool that a process wears: its lives, what they teach, and the forecast of this one."""

from __future__ import annotations

import hashlib
import math
from collections import OrderedDict
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ingest.answers.wear import LeftFact
from ingest.assessing.budget import LONGEST_DAYS
from ingest.assessing.facts import ProcessFacts
from ingest.plans.calendar import Calendar
from ingest.plans.model import Plan
from spc.process import Assessment
from spc.wear.backtest import Backtest, backtest
from spc.wear.forecast import Limits, chance_as_fast, left_before
from spc.wear.missing import unlogged_renewal
from spc.wear.model import WearFit, WearRows, fit_wear, odd_lives, usual_life

RECENT_PARTS = 40
"""Families among so many latest parts count as made now."""
_KEPT = 256
_fits: OrderedDict[str, WearFit | None] = OrderedDict()
"""Fits by a hash of the lives they rest on: a model is fitted anew only when its lives changed."""


@dataclass(frozen=True)
class LifeTable:
    """The lives of a process's tool as its parts show them.

    Attributes
    ----------
    rows : WearRows
        Parts that count, in lives.
    index : (n,) int array
        Where each stands among the parts of the process.
    finished, clean : int arrays
        Numbers of finished lives, and of those without a signal.
    signal_at : dict
        Uses at which a life raised its first signal.
    """

    rows: WearRows
    index: np.ndarray
    finished: np.ndarray
    clean: np.ndarray
    signal_at: dict[int, float]


def lives_of_process(facts: ProcessFacts, result: Assessment) -> LifeTable:
    """Parts in lives, and which lives may teach others.

    A life is left out of teaching when a signal was raised in it, or when its level or slope lies far from that of the
    others: a set that glazed must not pull the usual life down.
    """
    data = facts.data
    good = (data.life >= 0) & data.learn & ~result.single_flag & np.isfinite(result.mean)
    index = np.flatnonzero(good)
    rows = WearRows(result.mean[index], data.life[index], data.wear[index], data.family[index])
    current = facts.tool.life if facts.tool is not None else int(data.life.max(initial=-1))
    finished = np.unique(data.life[(data.life >= 0) & (data.life < current)])
    signal_at: dict[int, float] = {}
    for signal in result.signals:
        if signal.monitor != "spread within part":
            life = int(data.life[signal.first])
            signal_at[life] = min(signal_at.get(life, math.inf), float(data.wear[signal.first]))
    # A signal that stays open over renewals says little of the sets after it: those are held against the others.
    candidates = finished[~np.isin(finished, list(signal_at))]
    odd = odd_lives(rows, candidates)
    clean = candidates[~np.isin(candidates, odd)]
    return LifeTable(rows, index, finished, clean, signal_at)


def fit_of(table: LifeTable) -> WearFit | None:
    """The wear model of the clean lives; the one fitted before when those lives are the same."""
    taught = table.rows.of(np.isin(table.rows.life, table.clean))
    digest = hashlib.sha256()
    for array in (taught.value, taught.life, taught.uses, taught.group):
        digest.update(np.ascontiguousarray(array).tobytes())
    key = digest.hexdigest()
    if key in _fits:
        _fits.move_to_end(key)
        return _fits[key]
    fit = fit_wear(taught, table.clean)
    _fits[key] = fit
    while len(_fits) > _KEPT:
        _fits.popitem(last=False)
    return fit


def limits_now(plan: Plan, facts: ProcessFacts) -> Limits:
    """Limits of the families made lately, as deviations from target, or as logarithms for a feature kept so."""
    recent = slice(-RECENT_PARTS, None)
    codes, last = np.unique(facts.data.family[recent][::-1], return_index=True)
    rows = facts.rows[recent][::-1][last]
    lower, upper = facts.table.limits.lower[rows], facts.table.limits.upper[rows]
    if facts.options.log:
        with np.errstate(divide="ignore", invalid="ignore"):
            return Limits(codes, _log(lower), _log(upper))
    target = facts.table.limits.target[rows]
    target = np.where(np.isnan(target), 0.0, target)
    lower, upper = lower - target, upper - target
    if plan.features[facts.feature].judge == "absolute":
        lower = np.where(np.isnan(lower), -upper, lower)
    return Limits(codes, lower, upper)


def _log(limit: np.ndarray) -> np.ndarray:
    return np.where(limit > 0, np.log(np.where(limit > 0, limit, 1.0)), np.nan)


def forecast(
    plan: Plan, calendar: Calendar, facts: ProcessFacts, result: Assessment, families: tuple[str, ...]
) -> LeftFact | None:
    """What is left of the current life of the process's tool; a pure function of the facts.

    Parameters
    ----------
    plan, calendar
    facts : ProcessFacts
    result : Assessment
        Of these facts.
    families : tuple of str
        Keys behind the family codes.

    Returns
    -------
    LeftFact or None
        None for a process without a tool whose life is counted.
    """
    if facts.tool is None or not facts.options.wears:
        return None
    tool, table = facts.tool, lives_of_process(facts, result)
    fit = fit_of(table)
    limits = limits_now(plan, facts)
    current = table.rows.of(table.rows.life == tool.life)
    usual = usual_life(facts.data.wear, facts.data.life, table.clean)
    longest = max(float(table.rows.uses.max(initial=0.0)), tool.uses)
    signalled = any(
        s.status == "open" and s.monitor in ("level", "scatter") and facts.data.life[s.first] == tool.life
        for s in result.signals
    )
    left = left_before(
        current, tool.uses, limits, fit, longest, len(table.finished) - len(table.clean), len(table.finished),
        signalled,
    )  # fmt: skip
    where = np.flatnonzero(limits.group == left.group)
    limit = None
    if left.side and where.size:
        limit = float((limits.upper if left.side > 0 else limits.lower)[where[0]])
        row = facts.rows[np.flatnonzero(facts.data.family == left.group)[-1]]
        target = float(facts.table.limits.target[row])
        limit = math.exp(limit) if facts.options.log else limit + (0.0 if math.isnan(target) else target)
    step = _step(facts)
    since = None
    if tool.since is not None:
        since = calendar.local(pd.Timestamp(tool.since).to_pydatetime()).date()
    return LeftFact(
        renewal=tool.renewal.name,
        unit=tool.renewal.unit,
        tool=tool.tool,
        since=since,
        began_with=tool.began_with,
        uses=tool.uses,
        usual=usual or None,
        finished=len(table.finished),
        taught=fit.lives if fit is not None else 0,
        p10=_whole_parts(left.p10, step),
        p50=_whole_parts(left.p50, step),
        p90=_whole_parts(left.p90, step),
        side=left.side,
        family=families[left.group] if left.group >= 0 else None,
        limit=limit,
        reason=left.reason,
        missing_parts=left.missing_parts,
        horizon=left.horizon,
        bent=left.kink,
        bent_at=left.kink_at if left.kink > 0.5 else None,
        faster_days=_faster_days(plan, facts, fit, left.wear_z),
        renewed_at=unlogged_renewal(current, fit) if fit is not None else None,
    )


def _step(facts: ProcessFacts) -> float:
    """Uses that a part takes, on average over the latest ones; 1 when that is not known."""
    recent = slice(-RECENT_PARTS, None)
    steps = np.diff(facts.data.wear[recent])[np.diff(facts.data.life[recent]) == 0]
    return float(steps.mean()) if steps.size and steps.mean() > 0 else 1.0


def _whole_parts(left: float | None, step: float) -> float | None:
    """Uses of the parts whose own expected mean still lies inside.

    What is left is counted in parts, and the limit is held against the expected part mean. A part stands at the uses
    before it, so those inside begin before the crossing: with the next one at nought they are the crossing over the
    uses of a part, rounded up. Not rounded, the crossing may be less than one part away while the next part is good.
    """
    return None if left is None else math.ceil(left / step - 1e-9) * step


def _faster_days(plan: Plan, facts: ProcessFacts, fit: WearFit | None, z: float) -> float | None:
    """Days between tools that chance alone shows to wear this much faster, over all wearing processes of the shop."""
    if fit is None or not z > 0.0:
        return None
    share = chance_as_fast(z, fit.lives)
    days = max(float(facts.data.day[-1] - facts.data.day[0]), 1.0)
    lives = len(np.unique(facts.data.life[facts.data.life >= 0]))
    watched = sum(len(renewal.features) for renewal in plan.renewals)
    return min(LONGEST_DAYS, days / lives / watched / max(share, 1e-12))


def backtest_of(plan: Plan, facts: ProcessFacts, result: Assessment) -> Backtest:
    """Every finished life of the process's tool, forecast from what was known before it and during it."""
    table = lives_of_process(facts, result)
    return backtest(table.rows, table.finished, table.clean, limits_now(plan, facts), table.signal_at)
