"""Whether a part conforms, does not, or cannot be told, given what its gauge can be trusted with."""

from __future__ import annotations

from datetime import date

import numpy as np

from ingest.gauges.conform_derived import derived_conforms
from ingest.gauges.heat import part_at_reference
from ingest.gauges.judged import ConformFact, conform_fact, known_limits, weakest
from ingest.gauges.trusted import GaugeTrust
from ingest.plans.limits import in_force
from ingest.state.moment import Moment
from ingest.views.part import last_passes

NOT_JUDGED = ("time", "check")
"""Kinds of features that say nothing of the part itself."""


def part_conforms(moment: Moment, trust: GaugeTrust, serial: str) -> tuple[ConformFact, ...]:
    """What each feature of a part proves, by the gauge that judged it last.

    Parameters
    ----------
    moment : Moment
    trust : GaugeTrust
        Of the same moment.
    serial : str

    Returns
    -------
    tuple of ConformFact
        Delivered passes only; features with a limit, measured ones first and then derived ones. A place counts by
        itself, the weakest stands for the feature.
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
        if feature.kind in NOT_JUDGED or op != feature.operation or not delivered:
            continue
        limits = in_force(
            plan, feature.key, resolved.families, mine["fam"].to_numpy(), mine["day"].to_numpy(dtype=np.int64)
        )
        lower, upper = known_limits(limits.lower[0], limits.upper[0], feature.judge == "absolute")
        if gauge not in plan.gauges or (lower is None and upper is None):
            continue
        heat = heats.get((feature.key, int(pass_no), str(gauge)))  # type: ignore[arg-type]
        day = date.fromordinal(int(mine["day"].max()) + date(1970, 1, 1).toordinal())
        known = trust.of(str(gauge), feature.key)
        why = "no checks" if known is None else "off" if trust.off(str(gauge), day) else ""
        read = warm = None
        if known is not None and not why:
            places = [(str(p), float(v)) for p, v in zip(mine["position"], mine["value"], strict=True)]
            read = weakest(((p, v, known.standard) for p, v in places), lower, upper)
            if heat is not None and heat.corrected is not None:
                both = float(np.hypot(known.standard, heat.corrected.uncertainty))
                moved = heat.corrected.correction
                warm = weakest(((p, v + moved, both) for p, v in places), lower, upper)
        standard = None if known is None else known.standard
        found.append(
            conform_fact(
                plan,
                feature,
                str(gauge),
                mine["on"].iloc[0],
                int(pass_no),  # type: ignore[arg-type]
                len(mine),
                (lower, upper),
                known,
                standard,
                why,
                read,
                warm,
                heat,
            )
        )
    return (*found, *derived_conforms(moment, trust, serial, rows, last))
