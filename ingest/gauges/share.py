"""What the gauges add to one value of a process by themselves: the share of its spread that is no part's."""

from __future__ import annotations

import math

import numpy as np

from ingest.gauges.conform_derived import BY_ITSELF
from ingest.gauges.trusted import GaugeTrust
from ingest.readings.tables import derived_weights
from ingest.state.moment import Moment


def repeats_in(moment: Moment, trust: GaugeTrust, process: str, family: str) -> float | None:
    """Standard deviation from one reading to the next that the gauges of a process bring to one of its values.

    Parameters
    ----------
    moment : Moment
    trust : GaugeTrust
        Of the same moment.
    process : str
    family : str
        A derived value has the weights of this family.

    Returns
    -------
    float or None
        [base unit]. Several gauges count alike. None where a gauge has neither checks nor a trial on record, for a
        range, for a value kept on the log scale, and for a process of a gauge.

    References
    ----------
    .. [1] JCGM 100:2008 (GUM), 5.1.2, for a value derived from several readings.
    """
    plan, facts = moment.known.plan, moment.facts.processes.get(process)
    if facts is None or facts.machine in plan.gauges or facts.options.log or not facts.gauges:
        return None
    feature = plan.features[facts.feature]
    if feature.unit != "um" or feature.derive == "range":
        return None
    source = feature.of or feature.key
    known = [trust.of(gauge, source) if gauge in plan.gauges else None for gauge in facts.gauges]
    if any(k is None for k in known):
        return None
    squares = [sum(k.parts.get(name, 0.0) ** 2 for name in BY_ITSELF) for k in known if k is not None]
    one = math.sqrt(sum(squares) / len(squares))
    if feature.derive is None:
        return one
    base = moment.facts.tables[source]
    everything = np.where(
        np.isin(np.arange(len(base.slots.positions)), base.slots.of.get(family, ())), 0.0, np.nan
    )
    weights = derived_weights(plan, feature.key, family, base.slots, everything)
    lengths = np.linalg.norm(weights, axis=1)
    lengths = lengths[lengths > 0]
    return one * float(np.sqrt(np.mean(lengths**2))) if len(lengths) else None
