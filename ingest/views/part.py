"""What the page of one part shows: its passes, every reading, what they give, and the stock taken off."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from ingest.answers.processes import PartDerived, PartReading, PartStock, PartView, PassFact
from ingest.assessing.reasons import explain
from ingest.plans.calendar import Calendar
from ingest.plans.limits import HAIR, in_force
from ingest.plans.model import Plan
from ingest.state.moment import Moment
from ingest.views.process import text_or_none


def part_view(moment: Moment, serial: str) -> PartView | None:
    """Everything known of one part; None when nobody has heard of the serial."""
    plan, calendar, resolved = moment.known.plan, moment.calendar, moment.resolved
    rows = resolved.readings[
        (resolved.readings["serial"] == serial) & ~resolved.readings["role"].isin(["checks", "study"])
    ]
    passes = resolved.passes[resolved.passes["serial"] == serial].sort_values(
        ["begun", "pass"], kind="stable"
    )
    if not len(rows) and not len(passes):
        return None
    family = next((resolved.families[int(f)] for f in rows["fam"] if f >= 0), None)
    if family is None:
        family = next((f for f in passes["family"] if isinstance(f, str)), None)
    rows = rows.sort_values(["when", "seq", "line"], na_position="first", kind="stable")
    processes = sorted(
        (process, int(n))
        for process, facts in moment.facts.processes.items()
        for part, n in zip(facts.parts["part"], facts.parts["pass_no"], strict=True)
        if part == serial
    )
    last = last_passes(rows)
    readings = tuple(_reading(moment, r, last) for r in rows.to_dict("records"))
    return PartView(
        serial=serial,
        family=family,
        family_name=plan.families[family].name if family in plan.families else None,
        passes=tuple(_pass(plan, calendar, p) for p in passes.to_dict("records")),
        readings=readings,
        processes=tuple(processes),
        derived=_derived(moment, serial, last),
        stock=_stock(readings),
    )


def _pass(plan: Plan, calendar: Calendar, p: Mapping[Any, Any]) -> PassFact:
    machine, operation = p["machine"] or "", p["operation"]
    return PassFact(
        machine=machine,
        machine_name=plan.machines[machine].name if machine in plan.machines else machine,
        operation=operation,
        operation_name=plan.operations[operation].name if operation in plan.operations else operation,
        pass_no=int(p["pass"]),
        tool=text_or_none(p["tool"]),
        started=_local(calendar, p["started"]),
        ended=_local(calendar, p["ended"]),
        note=text_or_none(p["note"]),
    )


def _local(calendar: Calendar, when: Any) -> datetime | None:
    return None if pd.isna(when) else calendar.local(pd.Timestamp(when).to_pydatetime())


def last_passes(rows: pd.DataFrame) -> dict[tuple[str, str], int]:
    """Last pass with a used reading of each (feature, operation): what was delivered."""
    used = rows[rows["status"] == "used"]
    return {
        (str(f), str(o)): int(n)
        for (f, o), n in used.groupby(["feature", "op"], sort=True)["pass_no"].max().items()  # type: ignore[misc]
    }


def _reading(moment: Moment, r: Mapping[Any, Any], last: Mapping[tuple[str, str], int]) -> PartReading:
    plan, resolved = moment.known.plan, moment.resolved
    feature = plan.features.get(r["feature"])
    code = int(r["fam"])
    family = resolved.families[code] if code >= 0 else None
    limits = None
    if feature is not None and family is not None:
        limits = in_force(plan, feature.key, resolved.families, np.array([code]), np.array([int(r["day"])]))
    target, lower, upper = (
        (_known(limits.target[0]), _known(limits.lower[0]), _known(limits.upper[0]))
        if limits
        else (None,) * 3
    )
    value = float(r["value"])
    out = None
    delivered = last.get((r["feature"], r["op"])) == int(r["pass_no"])
    if r["status"] == "used" and delivered and feature is not None and r["op"] == feature.operation:
        out = side(value, lower, upper, feature.judge == "absolute")
    reason, remedy = explain(plan, {**r, "family_key": family})
    return PartReading(
        feature=r["feature"],
        feature_name=feature.name if feature is not None else r["feature"],
        machine=text_or_none(r["on"]),
        operation=text_or_none(r["op"]),
        pass_no=int(r["pass_no"]) or None,
        position=r["position"],
        value=value,
        deviation=None if target is None else value - target,
        raw=r["raw"],
        raw_unit=r["raw_unit"],
        time=moment.calendar.local(pd.Timestamp(r["time"]).to_pydatetime()),
        corrected_time=moment.calendar.local(pd.Timestamp(r["when"]).to_pydatetime()),
        gauge=text_or_none(r["gauge"]),
        operator=text_or_none(r["operator"]),
        tool=text_or_none(r["tool"]),
        part_temp=_known(r["part_temp"]),
        gauge_temp=_known(r["gauge_temp"]),
        note=text_or_none(r["note"]),
        status=r["status"],
        reason=reason,
        remedy=remedy,
        lower=lower,
        upper=upper,
        out=out,
        receipt=int(r["receipt"]),
        line=int(r["line"]),
        col=r["col"],
        display=feature.display if feature is not None else r["raw_unit"],
        decimals=feature.decimals if feature is not None else 3,
    )


def _known(value: Any) -> float | None:
    return None if value is None or pd.isna(value) else float(value)


def side(value: float, lower: float | None, upper: float | None, absolute: bool) -> str | None:
    """Whether a judged value lies above or below its limits; None within."""
    judged = abs(value) if absolute else value
    if upper is not None and judged > upper + HAIR:
        return "above"
    return "below" if lower is not None and judged < lower - HAIR else None


def _derived(moment: Moment, serial: str, last: Mapping[tuple[str, str], int]) -> tuple[PartDerived, ...]:
    """Values computed from the part's readings, pass by pass."""
    plan, found = moment.known.plan, []
    for key, table in moment.facts.tables.items():
        feature = plan.features[key]
        if feature.derive is None:
            continue
        for row in np.flatnonzero((table.parts["part"] == serial).to_numpy()):
            part = table.parts.iloc[row]
            lower, upper = _known(table.limits.lower[row]), _known(table.limits.upper[row])
            absolute = feature.judge == "absolute"
            delivered = last.get((feature.of or "", part["op"])) == int(part["pass_no"])
            judged = delivered and part["op"] == feature.operation
            for column in np.flatnonzero(np.isfinite(table.values[row])):
                value = float(table.values[row, column])
                found.append(
                    PartDerived(
                        feature=key,
                        feature_name=feature.name,
                        machine=str(part["on"]),
                        operation=str(part["op"]),
                        pass_no=int(part["pass_no"]),
                        position=table.slots.positions[column],
                        value=value,
                        lower=lower,
                        upper=upper,
                        absolute=absolute,
                        out=side(value, lower, upper, absolute) if judged else None,
                        display=feature.display,
                        decimals=feature.decimals,
                    )
                )
    return tuple(found)


def _stock(readings: tuple[PartReading, ...]) -> tuple[PartStock, ...]:
    """Stock removed at each position: from the latest incoming reading to the last pass."""
    before = {(r.feature, r.operation, r.position): r for r in readings if r.status == "incoming"}
    after: dict[tuple[str, str | None, str], PartReading] = {}
    for r in readings:
        key = (r.feature, r.operation, r.position)
        if r.status == "used" and (key not in after or (r.pass_no or 0) >= (after[key].pass_no or 0)):
            after[key] = r
    return tuple(
        PartStock(
            feature=old.feature,
            operation=old.operation,
            position=old.position,
            before=old.value,
            after=after[key].value,
            removed=abs(after[key].value - old.value),
            display=old.display,
            decimals=old.decimals,
        )
        for key, old in before.items()
        if key in after
    )
