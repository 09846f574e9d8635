"""Whether the steps of a gauge are fine enough for a tolerance."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from ingest.plans.model import Plan
from spc.gauges.master import resolution_verdict

FINE = "fine enough"


def coarse_share(
    plan: Plan, gauge: str, feature: str, lower: float | None, upper: float | None
) -> float | None:
    """Step of a gauge over the width of a tolerance where it is too coarse for it, else None.

    Parameters
    ----------
    plan : Plan
    gauge, feature : str
        Plan keys.
    lower, upper : float or None
        Limits; with one of them there is no tolerance to hold it against. [base unit]
    """
    entry = plan.gauges.get(gauge)
    if entry is None or entry.resolution is None or plan.features[feature].unit != "um":
        return None
    if lower is None or upper is None:
        return None
    width = upper - lower
    step = float(entry.resolution)
    return None if resolution_verdict(step, tolerance=width) == FINE else step / width


def coarse_shares(
    plan: Plan, gauge: str, feature: str, families: Iterable[str], on: date
) -> dict[str, float]:
    """Families for whose tolerance the steps of a gauge are too coarse, with the share of it that a step is.

    Parameters
    ----------
    plan : Plan
    gauge, feature : str
        Plan keys; a derived feature is held against its own tolerance.
    families : iterable of str
        To look at.
    on : date
        Day of the limits.

    Returns
    -------
    dict of str to float
        Step over tolerance, worst family first; empty where it is fine enough, or nothing can be said.
    """
    found: dict[str, float] = {}
    for family in families:
        spec = plan.spec_for(feature, family, on)
        if spec is None:
            continue
        lower, upper = (None if limit is None else float(limit) for limit in (spec.lower, spec.upper))
        share = coarse_share(plan, gauge, feature, lower, upper)
        if share is not None:
            found[family] = share
    return dict(sorted(found.items(), key=lambda item: (-item[1], item[0])))
