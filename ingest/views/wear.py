"""What the page of the tools shows: lives over one another, the usual one, and how earlier forecasts did."""

from __future__ import annotations

import math
from datetime import date

import numpy as np

from ingest.answers.wear import BacktestView, LifeTrace, LifeTried, WearView
from ingest.assessing.assessment import AssessedProcess
from ingest.assessing.facts import ProcessFacts
from ingest.assessing.forecast import LifeTable, backtest_of, fit_of, limits_now, lives_of_process
from ingest.plans.model import Plan
from spc.wear.backtest import SHARES
from spc.wear.model import WearFit, wear_basis

_EPOCH = date(1970, 1, 1).toordinal()
_POINTS = 60


def wear_view(plan: Plan, done: AssessedProcess, families: tuple[str, ...]) -> WearView | None:
    """Lives of a process's tool; None for a process without one.

    Parameters
    ----------
    plan : Plan
    done : AssessedProcess
    families : tuple of str
        Keys behind the family codes.
    """
    facts, left = done.facts, done.state.left
    if left is None:
        return None
    feature = plan.features[facts.feature]
    table = lives_of_process(facts, done.assessment)
    fit = fit_of(table)
    limits = limits_now(plan, facts)
    return WearView(
        process=facts.process,
        feature_name=feature.name,
        display=feature.display,
        decimals=feature.decimals,
        log=facts.options.log,
        left=left,
        lives=_lives(facts, table),
        usual=_usual(fit, facts.options.log),
        limits=tuple(
            (families[int(code)], _shown(low, facts.options.log), _shown(high, facts.options.log))
            for code, low, high in zip(limits.group, limits.lower, limits.upper, strict=True)
        ),
    )


def _value(value: float, log: bool) -> float:
    return math.exp(value) if log else value


def _shown(limit: float, log: bool) -> float | None:
    return None if math.isnan(limit) else _value(float(limit), log)


def _lives(facts: ProcessFacts, table: LifeTable) -> tuple[LifeTrace, ...]:
    numbers = np.unique(table.rows.life)
    clean = set(table.clean.tolist())
    kinds: tuple[str, ...] = facts.tool.kinds if facts.tool is not None else ()
    found = []
    for number in map(int, numbers):
        mine = np.flatnonzero(table.rows.life == number)
        first = int(table.index[mine[0]])
        tool = facts.parts["tool"].iloc[first]
        longest = float(facts.data.wear[facts.data.life == number].max())
        current = facts.tool is not None and number == facts.tool.life
        values = table.rows.value[mine]
        found.append(
            LifeTrace(
                life=number,
                tool=tool if isinstance(tool, str) else None,
                began=date.fromordinal(int(facts.data.day[first]) + _EPOCH),
                began_with=kinds[number] if number < len(kinds) else None,
                ended_with=kinds[number + 1] if number + 1 < len(kinds) else None,
                length=facts.tool.uses if current and facts.tool is not None else longest,
                uses=tuple(float(u) for u in table.rows.uses[mine]),
                values=tuple(_value(float(v), facts.options.log) for v in values),
                clean=number in clean,
            )
        )
    return tuple(found)


def _usual(fit: WearFit | None, log: bool) -> tuple[tuple[float, float], ...]:
    """The expected course of a usual life, families taken together."""
    if fit is None:
        return ()
    uses = np.linspace(0.0, fit.scale, _POINTS)
    level = float(fit.common[: len(fit.groups)].mean())
    values = level + wear_basis(uses, fit.scale, fit.settling) @ fit.common[-3:]
    return tuple((float(u), _value(float(v), log)) for u, v in zip(uses, values, strict=True))


def backtest_view(plan: Plan, done: AssessedProcess) -> BacktestView | None:
    """Forecasts of every finished life of a process's tool against what came; None for a process without one."""
    facts = done.facts
    if facts.tool is None or done.state.left is None:
        return None
    log = facts.options.log
    result = backtest_of(plan, facts, done.assessment)
    names = {trace.life: trace.tool for trace in _lives(facts, lives_of_process(facts, done.assessment))}
    tried = tuple(
        LifeTried(
            life=t.life,
            tool=names.get(t.life),
            share=t.share,
            now=t.now,
            value=(_value(t.value10, log), _value(t.value50, log), _value(t.value90, log)),
            came=_value(t.value, log),
            held=t.value_held,
            left=(t.left10, t.left50, t.left90),
            left_came=t.left,
            left_held=t.left_held,
        )
        for t in result.tried
    )
    held = tuple((share, *result.coverage(share), result.bias(share)) for share in SHARES)
    return BacktestView(
        facts.process, facts.tool.renewal.unit, tried, result.untold, held, result.left_coverage()
    )
