"""What the pages of gauges show: checks, audits, resolution, what each measures, and when it was off."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np
import pandas as pd

from ingest.answers.gauges import (
    AuditFact,
    AuditPoint,
    GaugeView,
    MasterFact,
    ScaleFact,
    SettingFact,
    StudyFact,
    UseFact,
)
from ingest.answers.processes import BoardRow
from ingest.assessing.audits import AuditSeries
from ingest.gauges.checks import check_points, growth, master_facts, off_on, reset_facts
from ingest.gauges.coarse import coarse_charts
from ingest.gauges.heat import MissingHeat, missing_heat, warmth_facts
from ingest.gauges.studies import study_facts
from ingest.gauges.suspects import episodes, gauge_events, measured_with, spans_off
from ingest.gauges.trusted import settings_of, trust_of
from ingest.state.moment import Moment
from spc.gauges.error import mean_error
from spc.gauges.master import resolution_verdict
from spc.mean_squares import Ranged


@dataclass(frozen=True)
class GaugesView:
    """All gauges of the shop, those in doubt first, then those without checks, then by key."""

    gauges: tuple[GaugeView, ...]
    missing: tuple[MissingHeat, ...]
    """Temperatures that should be written down."""


def gauges_view(moment: Moment, rows: Sequence[BoardRow], now: datetime) -> GaugesView:
    """Everything known of the gauges of a shop.

    Parameters
    ----------
    moment : Moment
    rows : sequence of BoardRow
        The board of the same moment.
    now : datetime
        Aware.
    """
    plan = moment.known.plan
    spans, warmth = spans_off(moment), warmth_facts(moment)
    by_process = {row.process: row for row in rows}
    found = []
    for key, gauge in plan.gauges.items():
        mine = spans.get(key, [])
        times = [(s.first, s.until) for s in mine]
        checks = check_points(moment, key, times)
        masters = master_facts(moment, checks)
        settings = settings_of(moment, key)
        studies, refused = study_facts(moment, key)
        linear, why = growth(moment, checks) if checks else (None, "")
        events = gauge_events(moment, key)
        found.append(
            GaugeView(
                key=key,
                name=gauge.name,
                kind=gauge.kind,
                machine=gauge.machine,
                resolution=None if gauge.resolution is None else float(gauge.resolution),
                uses=_uses(moment, key, masters, settings, studies),
                row=next((r for r in rows if r.machine == key and r.operation in plan.operations), None),
                checks=checks,
                masters=masters,
                linearity=linear,
                resets=reset_facts(checks, events),
                settings=settings,
                audits=_audits(moment, key, spans, by_process),
                warmth=tuple(
                    w for w in warmth if any(w.feature_name == plan.features[f].name for f in gauge.features)
                ),
                episodes=episodes(moment, key, mine, checks, now.date()),
                studies=studies,
                calibrated=gauge.calibrated,
                due=gauge.due,
                refused=refused | ({"linearity": why} if why else {}),
            )
        )
    order = sorted(found, key=lambda g: (g.doubt is None, bool(g.checks), g.key))
    return GaugesView(tuple(order), missing_heat(moment))


def _uses(
    moment: Moment,
    gauge: str,
    masters: Sequence[MasterFact],
    settings: Sequence[SettingFact],
    studies: Sequence[StudyFact],
) -> tuple[UseFact, ...]:
    plan, resolved = moment.known.plan, moment.resolved
    entry = plan.gauges[gauge]
    step = None if entry.resolution is None else float(entry.resolution)
    rows = measured_with(moment, gauge)
    audits = resolved.readings
    audits = audits[(audits["status"] == "audit") & (audits["gauge"] == gauge) & (audits["feat"] >= 0)]
    found = []
    for feat, mine in pd.concat([rows, audits]).groupby("feat", sort=True):
        feature = plan.features[resolved.features[int(feat)]]  # type: ignore[arg-type]
        families = [resolved.families[int(f)] for f in sorted(set(mine["fam"])) if f >= 0]
        log = feature.scale == "log"
        found.append(
            UseFact(
                feature=feature.key,
                feature_name=feature.name,
                machines=tuple(sorted({str(m) for m in mine["on"].dropna()})),
                readings=len(mine),
                parts=int(mine["part"].nunique()),
                last=moment.calendar.local(pd.Timestamp(mine["when"].max()).to_pydatetime()),
                scales=tuple(_scale(moment, feature.key, f, step, mine["day"].max()) for f in families),
                coarse=_too_coarse(moment, gauge, feature.key),
                trust=None
                if log or feature.unit != "um"
                else trust_of(masters, settings, [s for s in studies if s.feature == feature.key], step),
                display=feature.display,
                decimals=feature.decimals,
                log=log,
            )
        )
    return tuple(found)


def _scale(moment: Moment, feature: str, family: str, step: float | None, day: int) -> ScaleFact:
    plan = moment.known.plan
    spec = plan.spec_for(feature, family, date.fromordinal(int(day) + date(1970, 1, 1).toordinal()))
    name = plan.families[family].name if family in plan.families else family
    if spec is None or spec.lower is None or spec.upper is None or step is None:
        return ScaleFact(family, name, None, None, "no tolerance")
    width = float(spec.upper) - float(spec.lower)
    return ScaleFact(family, name, width, step / width, resolution_verdict(step, tolerance=width))


def _too_coarse(moment: Moment, gauge: str, feature: str) -> tuple[str, ...]:
    """Processes of a feature whose readings spread too little for the steps of the gauge."""
    return tuple(
        process
        for process, facts in moment.facts.processes.items()
        if facts.feature == feature and gauge in coarse_charts(moment, process)
    )


def _audits(
    moment: Moment, gauge: str, spans: Mapping[str, Sequence], rows: Mapping[str, BoardRow]
) -> tuple[AuditFact, ...]:
    return tuple(
        _audit(moment, audit, spans, rows)
        for audit in moment.facts.audits
        if gauge in (audit.gauge, audit.reference)
    )


def _audit(
    moment: Moment, audit: AuditSeries, spans: Mapping[str, Sequence], rows: Mapping[str, BoardRow]
) -> AuditFact:
    plan, families = moment.known.plan, moment.resolved.families
    feature = plan.features[audit.feature]
    log = feature.scale == "log"
    values = np.log(audit.table.values) if log else audit.table.values
    parts = audit.table.parts
    points = tuple(
        AuditPoint(moment.calendar.local(when.to_pydatetime()), str(serial), families[int(fam)], float(value))
        for when, serial, fam, value in zip(
            parts["time"], parts["part"], parts["fam"], np.nanmean(values, axis=1), strict=True
        )
    )
    off = [(s.first, s.until) for g in (audit.gauge, audit.reference) for s in spans.get(g, ())]
    sound = [p.difference for p in points if not off_on(off, p.time.date())]
    process = f"{audit.gauge}/{audit.reference}/{audit.feature}"
    return AuditFact(
        process=process,
        gauge=audit.gauge,
        reference=audit.reference,
        reference_name=plan.gauges[audit.reference].name,
        feature=audit.feature,
        feature_name=feature.name,
        row=rows.get(process),
        points=points,
        mean=mean_error(sound) if sound else Ranged(float("nan")),
        warm=len(audit.warm),
        display=feature.display,
        decimals=feature.decimals,
        log=log,
    )
