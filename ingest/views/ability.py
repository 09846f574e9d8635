"""Capability of one family on one process: the readings of its parts, handed to `spc`."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from ingest.plans.limits import EPOCH
from ingest.state.moment import Moment
from spc.capability.histogram import Histogram, histogram_of
from spc.capability.process_capability import Capability, process_capability
from spc.capability.shapes import Drawable


def capability(
    moment: Moment,
    process: str,
    family: str,
    since: date | None = None,
    until: date | None = None,
    gauge_sd: float | None = None,
) -> Capability | None:
    """What a process can hold in a family.

    Parameters
    ----------
    moment : Moment
    process : str
    family : str
    since, until : date, optional
        First and last day of the parts looked at (both counted); by default all.
    gauge_sd : float, optional
        What the gauges bring to one value from reading to reading, to be told apart. [base unit]

    Returns
    -------
    Capability or None
        Limits are those in force for the latest of the parts. None when the process or family has no part
        in that time. Parts set aside by a person are left out.
    """
    seen = _seen(moment, process, family, since, until)
    if seen is None:
        return None
    facts = moment.facts.processes[process]
    feature = moment.known.plan.features[facts.feature]
    lower, upper = facts.table.limits.lower[seen.last], facts.table.limits.upper[seen.last]
    state = moment.assessed(process).state
    return process_capability(
        seen.readings,
        float(lower) if np.isfinite(lower) else None,
        float(upper) if np.isfinite(upper) else None,
        strata=[level[seen.columns] for level in facts.table.slots.strata],
        stable=not any(s.status == "open" for s in state.signals),
        kind=feature.kind,
        judge_absolute=feature.judge == "absolute",
        shape=feature.told_by,
        gauge_sd=gauge_sd,
    )


def histogram(moment: Moment, process: str, family: str, fit: Drawable | None) -> Histogram | None:
    """The readings behind a capability in classes, with the curve fitted to them.

    Parameters
    ----------
    moment : Moment
    process, family : str
    fit : Fit, Weibull, Johnson or None
        As `capability` found it; None draws no curve.

    Returns
    -------
    Histogram or None
        Classes are whole steps of the coarsest gauge that measures the feature. None when the process or
        family has no part.
    """
    seen = _seen(moment, process, family, None, None)
    if seen is None:
        return None
    plan = moment.known.plan
    feature = moment.facts.processes[process].feature
    steps = [gauge.resolution for gauge in plan.gauges.values() if feature in gauge.features]
    return histogram_of(seen.readings, fit, resolution=max((step for step in steps if step), default=0.0))


@dataclass(frozen=True)
class _Seen:
    """Readings of one family's parts, which places they are, and the row of the last part."""

    readings: NDArray[np.floating]
    columns: list[int]
    last: int


def _seen(moment: Moment, process: str, family: str, since: date | None, until: date | None) -> _Seen | None:
    if process not in moment.processes or family not in moment.resolved.families:
        return None
    facts = moment.facts.processes[process]
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
    return _Seen(facts.table.values[rows][:, columns], columns, int(rows[-1]))
