"""Capability of one family on one process: the readings of its parts, handed to `spc`."""

from __future__ import annotations

from datetime import date

import numpy as np

from ingest.limits import EPOCH
from ingest.moment import Moment
from spc.capability import Capability, process_capability


def capability(
    moment: Moment, process: str, family: str, since: date | None = None, until: date | None = None
) -> Capability | None:
    """What a process can hold in a family.

    Parameters
    ----------
    moment : Moment
    process : str
    family : str
    since, until : date, optional
        First and last day of the parts looked at (both counted); by default all.

    Returns
    -------
    Capability or None
        Limits are those in force for the latest of the parts. None when the process or family has no part
        in that time. Parts set aside by a person are left out.
    """
    plan = moment.known.plan
    if process not in moment.processes or family not in moment.resolved.families:
        return None
    facts = moment.facts.processes[process]
    feature = plan.features[facts.feature]
    day = facts.data.day
    chosen = (facts.data.family == moment.resolved.families.index(family)) & facts.data.learn
    if since is not None:
        chosen &= day >= since.toordinal() - EPOCH
    if until is not None:
        chosen &= day <= until.toordinal() - EPOCH
    columns = list(facts.table.slots.of.get(family, ()))
    rows = facts.rows[chosen]
    if not len(rows) or not columns:
        return None
    last = rows[-1]
    lower, upper = facts.table.limits.lower[last], facts.table.limits.upper[last]
    state = moment.assessed(process).state
    return process_capability(
        facts.table.values[rows][:, columns],
        float(lower) if np.isfinite(lower) else None,
        float(upper) if np.isfinite(upper) else None,
        strata=[level[columns] for level in facts.table.slots.strata],
        stable=not any(s.status == "open" for s in state.signals),
        kind=feature.kind,
        judge_absolute=feature.judge == "absolute",
    )
