"""What is told of the conformity of a part, and how the weakest place of a feature is chosen."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from ingest.gauges.heat import AtReference
from ingest.plans.model import Feature, Plan
from ingest.plans.scales import coarse_share
from spc.gauges.conformity import Zone, chance_conforms, decision_zone
from spc.gauges.trust import GaugeUncertainty


@dataclass(frozen=True)
class Judged:
    """The weakest place of a feature: what is told of it, and the chance that it conforms."""

    zone: Zone
    position: str
    value: float
    chance: float
    uncertainty: float
    """Standard."""


@dataclass(frozen=True)
class ConformFact:
    """What one feature of a part proves, measured or derived, as read and at 20 degC."""

    feature: str
    feature_name: str
    machine: str | None
    pass_no: int
    gauge: str
    gauge_name: str
    places: int
    lower: float | None
    upper: float | None
    derived: bool
    trust: GaugeUncertainty | None
    """Of one reading."""
    standard: float | None
    """Standard uncertainty of the weakest place: of a derived value only what its readings do not share."""
    coarse: float | None
    """Step of the gauge over the tolerance of what it read itself, where it is too coarse for it."""
    read: Judged | None
    """None where nothing tells how far the gauge can be trusted; `why` says it."""
    warm: Judged | None
    """At 20 degC; None where that cannot be worked out."""
    heat: AtReference | None
    why: str
    """"" | no checks | off | two gauges"""
    display: str
    decimals: int


def conform_fact(
    plan: Plan,
    feature: Feature,
    gauge: str,
    machine: Any,
    pass_no: int,
    places: int,
    limits: tuple[float | None, float | None],
    trust: GaugeUncertainty | None,
    standard: float | None,
    why: str,
    read: Judged | None,
    warm: Judged | None = None,
    heat: AtReference | None = None,
) -> ConformFact:
    """What is told of a feature of a part, with the names and units the plan gives it."""
    derived = feature.derive is not None
    return ConformFact(
        feature=feature.key,
        feature_name=feature.name,
        machine=machine if isinstance(machine, str) else None,
        pass_no=pass_no,
        gauge=gauge,
        gauge_name=plan.gauges[gauge].name,
        places=places,
        lower=limits[0],
        upper=limits[1],
        derived=derived,
        trust=trust,
        standard=standard,
        coarse=None if derived else coarse_share(plan, gauge, feature.key, *limits),
        read=read,
        warm=warm,
        heat=heat,
        why=why,
        display=feature.display,
        decimals=feature.decimals,
    )


_ORDER: Mapping[str, int] = {"does not conform": 0, "cannot be told": 1, "conforms": 2}


def weakest(places: Iterable[tuple[str, float, float]], lower: float | None, upper: float | None) -> Judged:
    """The place that proves least.

    Parameters
    ----------
    places : iterable of (str, float, float)
        Position, value and standard uncertainty; one or more. [unit]
    lower, upper : float or None
        Limits. [unit]

    Returns
    -------
    Judged
    """
    judged = [
        Judged(
            decision_zone(value, uncertainty, lower, upper),
            position,
            value,
            chance_conforms(value, uncertainty, lower, upper),
            uncertainty,
        )
        for position, value, uncertainty in places
    ]
    return min(judged, key=lambda j: (_ORDER[j.zone], j.chance, j.position))


def known_limits(lower: Any, upper: Any, absolute: bool) -> tuple[float | None, float | None]:
    """Limits as numbers or None; of a size judged without its sign they reach as far to the other side."""
    low, high = (None if pd.isna(limit) else float(limit) for limit in (lower, upper))
    if absolute and high is not None:
        return -high, high
    return low, high
