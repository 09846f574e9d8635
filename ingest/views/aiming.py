"""Where to aim a machine, from its latest parts and what the plan says mistakes cost."""

from __future__ import annotations

import math

import numpy as np

from ingest.answers.wear import AimFact, StartFact
from ingest.assessing.forecast import fit_of, limits_now, lives_of_process
from ingest.plans.model import Feature, Plan
from ingest.state.moment import Moment
from spc.units import to_base
from spc.wear.aim import best_aim, longest_start

LATEST = 60
"""Parts of a family that an aim rests on."""
_STEP = to_base(1.0, "thou")


def costs_of(plan: Plan, feature: Feature, family: str) -> tuple[float, float] | None:
    """What a part too small and a part too large costs; None when the plan does not say.

    A bore left small is worked again and one gone large is scrap; a deck left high is cut again and one cut low is
    scrap. What working it again costs stands in the plan by operation.
    """
    costs = plan.costs.get(family)
    if costs is None or costs.scrap is None:
        return None
    again = costs.redo.get(feature.operation)
    if again is None:
        return None
    return (costs.scrap, again) if feature.kind == "height" else (again, costs.scrap)


def aims(moment: Moment, process: str) -> tuple[AimFact, ...]:
    """Best aim of a size or height in every family made on a process lately.

    Parameters
    ----------
    moment : Moment
    process : str

    Returns
    -------
    tuple of AimFact
        Only families with both limits, known costs and at least 10 of the latest parts; for other features none.
    """
    plan, facts = moment.known.plan, moment.facts.processes[process]
    feature = plan.features[facts.feature]
    if feature.kind not in ("size", "height") or feature.derive is not None or facts.options.log:
        return ()
    found = []
    result = moment.assessed(process).assessment
    for code in np.unique(facts.data.family):
        family = moment.resolved.families[int(code)]
        own = np.flatnonzero((facts.data.family == code) & facts.data.learn & ~result.single_flag)[-LATEST:]
        money = costs_of(plan, feature, family)
        if money is None or not own.size:
            continue
        row = facts.rows[own[-1]]
        limits = facts.table.limits
        target = 0.0 if math.isnan(limits.target[row]) else float(limits.target[row])
        lower, upper = float(limits.lower[row]) - target, float(limits.upper[row]) - target
        if math.isnan(lower) or math.isnan(upper):
            continue
        gauge = facts.options.resolution / math.sqrt(12.0)
        aim = best_aim(facts.data.readings[own], lower, upper, *money, _STEP, gauge)
        if aim is not None:
            found.append(AimFact(family, aim, *money))
    return tuple(found)


def starts(moment: Moment, process: str) -> tuple[StartFact, ...]:
    """Where a life of the process's tool should begin, by family; empty without both limits or a known wear."""
    plan, facts = moment.known.plan, moment.facts.processes[process]
    if facts.tool is None:
        return ()
    table = lives_of_process(facts, moment.assessed(process).assessment)
    fit = fit_of(table)
    if fit is None:
        return ()
    longest = float(table.rows.uses[np.isin(table.rows.life, table.clean)].max())
    limits, found = limits_now(plan, facts), []
    for code, lower, upper in zip(limits.group, limits.lower, limits.upper, strict=True):
        if int(code) not in fit.groups or not (math.isfinite(lower) and math.isfinite(upper)):
            continue
        start = longest_start(float(lower), float(upper), fit.sigma, fit.slope / fit.scale, longest)
        if start is None:
            continue
        level = float(fit.common[fit.groups.index(int(code))])
        shown = math.exp if facts.options.log else float
        found.append(
            StartFact(
                moment.resolved.families[int(code)],
                shown(start.start),
                shown(start.end),
                start.uses,
                longest,
                shown(level),
            )
        )
    return tuple(found)
