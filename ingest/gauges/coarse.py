"""Whether a gauge reads finely enough for the chart of a process."""

from __future__ import annotations

import numpy as np

from ingest.plans.scales import FINE
from ingest.state.moment import Moment
from spc.gauges.master import resolution_verdict


def coarse_charts(moment: Moment, process: str) -> tuple[str, ...]:
    """Gauges whose steps are too coarse for the chart of a process: its readings spread too little beside them.

    Parameters
    ----------
    moment : Moment
    process : str

    Returns
    -------
    tuple of str
        Plan keys, in the order of the process; none for one kept on the log scale or one of a gauge.
    """
    plan, facts = moment.known.plan, moment.facts.processes[process]
    if facts.options.log or facts.machine in plan.gauges or plan.features[facts.feature].derive is not None:
        return ()
    readings, family = facts.data.readings, facts.data.family
    spread = [
        float(np.nanstd(readings[family == code], ddof=1))
        for code in np.unique(family)
        if np.isfinite(readings[family == code]).sum() > 1
    ]
    widest = max(spread, default=0.0)
    if not widest > 0:
        return ()
    steps = {g: plan.gauges[g].resolution for g in facts.gauges if g in plan.gauges}
    return tuple(
        g
        for g, step in steps.items()
        if step is not None and resolution_verdict(float(step), sigma=widest) != FINE
    )
