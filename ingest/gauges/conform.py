"""Whether a part conforms, does not, or cannot be told, given what its gauge can be trusted with."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, TypeVar

import numpy as np
import pandas as pd

from ingest.answers.gauges import SettingFact, StudyFact
from ingest.gauges.checks import check_points, master_facts, off_on, setting_fact
from ingest.gauges.heat import AtReference, part_at_reference
from ingest.gauges.studies import study_facts
from ingest.gauges.suspects import spans_off
from ingest.gauges.trusted import trust_of
from ingest.plans.limits import in_force
from ingest.state.moment import Moment
from ingest.views.part import last_passes
from spc.gauges.conformity import Zone, chance_conforms, decision_zone
from spc.gauges.trust import GaugeUncertainty

T = TypeVar("T")


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
    """What one feature of a part proves, as read and at 20 degC."""

    feature: str
    feature_name: str
    machine: str | None
    pass_no: int
    gauge: str
    gauge_name: str
    places: int
    lower: float | None
    upper: float | None
    trust: GaugeUncertainty | None
    read: Judged | None
    """None where nothing tells how far the gauge can be trusted; `why` says it."""
    warm: Judged | None
    """At 20 degC; None where that cannot be worked out."""
    heat: AtReference | None
    why: str
    """"" | no checks | off"""
    display: str
    decimals: int


class GaugeTrust:
    """What each gauge of a shop can be trusted with, worked out once a moment.

    Parameters
    ----------
    moment : Moment
    """

    def __init__(self, moment: Moment) -> None:
        self._moment = moment
        self._spans = {
            gauge: [(s.first, s.until) for s in spans] for gauge, spans in spans_off(moment).items()
        }
        self._kept: dict[Hashable, Any] = {}
        self._known: dict[tuple[str, str], GaugeUncertainty | None] = {}

    def kept(self, key: Hashable, work: Callable[[], T]) -> T:
        """What was worked out under this key, or is now."""
        if key not in self._kept:
            self._kept[key] = work()
        return self._kept[key]

    def spans(self, gauge: str) -> list[tuple[date, date | None]]:
        """Times in which the gauge was off."""
        return self._spans.get(gauge, [])

    def off(self, gauge: str, day: date) -> bool:
        """Whether the gauge was off on a day."""
        return off_on(self._spans.get(gauge, ()), day)

    def of(self, gauge: str, feature: str) -> GaugeUncertainty | None:
        """Standard uncertainty of one reading of a feature; None where neither checks nor a trial tell."""
        if (gauge, feature) not in self._known:
            moment = self._moment
            checks = check_points(moment, gauge, self._spans.get(gauge, ()))
            studies, _ = study_facts(moment, gauge)
            mine: list[StudyFact] = [s for s in studies if s.feature == feature]
            resolution = moment.known.plan.gauges[gauge].resolution
            self._known[(gauge, feature)] = trust_of(
                master_facts(moment, checks),
                settings_of(moment, gauge),
                mine,
                None if resolution is None else float(resolution),
            )
        return self._known[(gauge, feature)]


def settings_of(moment: Moment, gauge: str) -> tuple[SettingFact, ...]:
    """Day-to-day differences of the processes that this gauge alone measures and that the plan says are set daily."""
    plan, found = moment.known.plan, []
    for process in moment.processes:
        facts = moment.facts.processes[process]
        if not plan.features[facts.feature].daily_setting or facts.machine in plan.gauges:
            continue
        if list(facts.gauges) == [gauge]:
            fact = setting_fact(moment, moment.assessed(process))
            if fact is not None:
                found.append(fact)
    return tuple(found)


def part_conforms(moment: Moment, trust: GaugeTrust, serial: str) -> tuple[ConformFact, ...]:
    """What each size and height of a part proves, by the gauge that judged it last.

    Parameters
    ----------
    moment : Moment
    trust : GaugeTrust
        Of the same moment.
    serial : str

    Returns
    -------
    tuple of ConformFact
        Delivered passes only; features with a limit. A place counts by itself, the weakest stands for the feature.
    """
    plan, resolved = moment.known.plan, moment.resolved
    rows = resolved.readings
    rows = rows[
        (rows["serial"] == serial) & (rows["status"] == "used") & rows["gauge"].notna() & (rows["feat"] >= 0)
    ]
    if not len(rows):
        return ()
    last = last_passes(rows)
    heats = {
        (h.feature, h.pass_no, h.gauge): h
        for h in part_at_reference(moment, serial)
        if h.corrected is not None
    }
    found = []
    for (feat, op, pass_no, gauge), mine in rows.groupby(["feat", "op", "pass_no", "gauge"], sort=True):
        feature = plan.features[resolved.features[int(feat)]]  # type: ignore[arg-type]
        delivered = last.get((feature.key, str(op))) == int(pass_no)  # type: ignore[arg-type]
        if feature.kind not in ("size", "height") or op != feature.operation or not delivered:
            continue
        limits = in_force(
            plan, feature.key, resolved.families, mine["fam"].to_numpy(), mine["day"].to_numpy(dtype=np.int64)
        )
        lower, upper = _known(limits.lower[0]), _known(limits.upper[0])
        if gauge not in plan.gauges or (lower is None and upper is None):
            continue
        heat = heats.get((feature.key, int(pass_no), str(gauge)))  # type: ignore[arg-type]
        day = date.fromordinal(int(mine["day"].max()) + date(1970, 1, 1).toordinal())
        known = trust.of(str(gauge), feature.key)
        why = "no checks" if known is None else "off" if trust.off(str(gauge), day) else ""
        read = warm = None
        if known is not None and not why:
            read = _weakest(mine, 0.0, known.standard, lower, upper)
            if heat is not None and heat.corrected is not None:
                both = float(np.hypot(known.standard, heat.corrected.uncertainty))
                warm = _weakest(mine, heat.corrected.correction, both, lower, upper)
        machine = mine["on"].iloc[0]
        found.append(
            ConformFact(
                feature=feature.key,
                feature_name=feature.name,
                machine=machine if isinstance(machine, str) else None,
                pass_no=int(pass_no),  # type: ignore[arg-type]
                gauge=str(gauge),
                gauge_name=plan.gauges[str(gauge)].name,
                places=len(mine),
                lower=lower,
                upper=upper,
                trust=known,
                read=read,
                warm=warm,
                heat=heat,
                why=why,
                display=feature.display,
                decimals=feature.decimals,
            )
        )
    return tuple(found)


def _known(value: Any) -> float | None:
    return None if pd.isna(value) else float(value)


_ORDER: Mapping[str, int] = {"does not conform": 0, "cannot be told": 1, "conforms": 2}


def _weakest(
    rows: pd.DataFrame, shift: float, uncertainty: float, lower: float | None, upper: float | None
) -> Judged:
    judged: Sequence[Judged] = [
        Judged(
            decision_zone(float(value) + shift, uncertainty, lower, upper),
            str(position),
            float(value) + shift,
            chance_conforms(float(value) + shift, uncertainty, lower, upper),
            uncertainty,
        )
        for value, position in zip(rows["value"], rows["position"], strict=True)
    ]
    return min(judged, key=lambda j: (_ORDER[j.zone], j.chance, j.position))
