"""Capability of the true size: what is left of the measured one once the gauge's own spread is taken out."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ingest.answers.gauges import MasterFact
from ingest.gauges.checks import check_points, master_facts
from ingest.gauges.trusted import GaugeTrust, settings_of
from ingest.state.moment import Moment
from spc.capability.process_capability import Capability
from spc.gauges.trust import without_gauge
from spc.mean_squares import Ranged


@dataclass(frozen=True)
class TrueSize:
    """Ppk as measured and of the true size."""

    measured: Ranged
    true: Ranged | None
    """None when the gauges explain all that was measured."""
    gauges: tuple[str, ...]
    gauge_sd: float
    """Standard deviation that the gauges add to one reading."""


def true_size(moment: Moment, trust: GaugeTrust, process: str, held: Capability) -> TrueSize | None:
    """Ppk of the true size beside the measured one.

    Parameters
    ----------
    moment : Moment
    trust : GaugeTrust
        Of the same moment.
    process : str
    held : Capability
        As measured, of one family.

    Returns
    -------
    TrueSize or None
        None where there is no Ppk, the readings are not those of a size or height, the shape is not normal, or a
        gauge behind them has no checks on record. Several gauges count alike; a bias is no spread and stays.
    """
    plan = moment.known.plan
    facts = moment.facts.processes.get(process)
    if facts is None or facts.machine in plan.gauges or not facts.gauges:
        return None
    feature = plan.features[facts.feature]
    if feature.derive is not None or feature.kind not in ("size", "height"):
        return None
    if any(gauge not in plan.gauges or trust.of(gauge, feature.key) is None for gauge in facts.gauges):
        return None
    if held.ppk is None or held.shape != "normal":
        return None
    each = [
        trust.kept(("variance", gauge), lambda g=gauge: gauge_variance(moment, trust, g))
        for gauge in facts.gauges
    ]
    mean = Ranged(
        *(float(np.mean([getattr(v, end) for v in each])) for end in ("estimate", "lower", "upper"))
    )
    measured = Ranged(held.ppk.estimate, held.ppk.lower, held.ppk.upper)
    return TrueSize(
        measured,
        without_gauge(measured, held.sigma_overall, mean),
        tuple(facts.gauges),
        math.sqrt(mean.estimate),
    )


def gauge_variance(moment: Moment, trust: GaugeTrust, gauge: str) -> Ranged:
    """Variance a gauge adds to one reading, repeats and setting together, with a cautious interval. [base unit squared]

    The ends add the ends of both parts, so that the interval holds more often than it says.
    """
    entry = moment.known.plan.gauges[gauge]
    rounding = float(entry.resolution or 0.0) ** 2 / 12
    facts = master_facts(moment, check_points(moment, gauge, trust.spans(gauge)))
    repeat = max((m.repeat for m in facts if m.repeat is not None), key=lambda r: r.estimate, default=None)
    setting = _setting(moment, facts, gauge)
    found = []
    for end in ("estimate", "lower", "upper"):
        value = max(rounding, (getattr(repeat, end) or 0.0) ** 2 if repeat is not None else 0.0)
        found.append(value + ((getattr(setting, end) or 0.0) ** 2 if setting is not None else 0.0))
    return Ranged(found[0], min(found[0], found[1]), max(found[0], found[2]))


def _setting(moment: Moment, masters: tuple[MasterFact, ...], gauge: str) -> Ranged | None:
    """Spread from one setting to the next: the smaller of what checks and what the days of the parts tell."""
    told = [m.setting for m in masters if m.setting is not None] + [s.sd for s in settings_of(moment, gauge)]
    return min(told, key=lambda s: s.estimate, default=None)
