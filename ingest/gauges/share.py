"""What the gauges add to one value of a process by themselves: the share of its spread that is no part's."""

from __future__ import annotations

import numpy as np

from ingest.gauges.trusted import GaugeTrust
from ingest.readings.tables import derived_weights
from ingest.state.moment import Moment
from spc.gauges.trust import from_reading_to_reading, of_derived


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
    """
    plan, facts = moment.known.plan, moment.facts.processes.get(process)
    if facts is None or facts.machine in plan.gauges or facts.options.log or not facts.gauges:
        return None
    feature = plan.features[facts.feature]
    if feature.unit != "um" or feature.derive == "range":
        return None
    source = feature.of or feature.key
    told = [trust.of(gauge, source) if gauge in plan.gauges else None for gauge in facts.gauges]
    known = [k for k in told if k is not None]
    if len(known) < len(told):
        return None
    one = from_reading_to_reading(known)
    if feature.derive is None:
        return one
    base = moment.facts.tables[source]
    everything = np.where(
        np.isin(np.arange(len(base.slots.positions)), base.slots.of.get(family, ())), 0.0, np.nan
    )
    weights = derived_weights(plan, feature.key, family, base.slots, everything)
    each = of_derived(one, weights)
    each = each[each > 0]
    return float(np.sqrt(np.mean(each**2))) if len(each) else None
