"""Is the latest part beyond a limit? Judged values of its last pass against the specification in force."""

from __future__ import annotations

import numpy as np

from ingest.board import OutFact
from ingest.calendar import Calendar
from ingest.plan import Plan
from ingest.tables import FeatureTable


def latest_out(
    plan: Plan,
    calendar: Calendar,
    machine: str,
    operation: str,
    key: str,
    tables: dict[str, FeatureTable],
    families: tuple[str, ...],
) -> OutFact | None:
    """Worst judged value beyond a limit on the latest part of a process; None when all are within.

    The latest part is the last one that went over the machine in this operation, whatever its pass; its last
    pass in the operation, on whichever machine, is what was delivered. Incoming and audit readings are not in
    the tables and so are never judged. Values are those of the process's own feature and of features derived
    from it that are not watched as processes of their own.
    """
    if operation != plan.features[key].operation:
        return None
    parts = tables[key].parts
    mine = (parts["on"] == machine) & (parts["op"] == operation)
    latest = parts.index[mine][-1]
    serial = str(parts.at[latest, "part"])
    passes = parts[(parts["part"] == serial) & (parts["op"] == operation)]
    pass_no = int(passes["pass_no"].max())
    judged = [key] + [
        other
        for other, entry in plan.features.items()
        if entry.of == key and not entry.monitor and other in tables
    ]
    found: list[tuple[float, OutFact]] = []
    for name in judged:
        found += _beyond(plan, calendar, tables[name], name, serial, operation, pass_no, families)
    if not found:
        return None
    worst = max(found, key=lambda pair: pair[0])[1]
    return OutFact(**{**worst.__dict__, "count": len(found)})


def _beyond(
    plan: Plan,
    calendar: Calendar,
    table: FeatureTable,
    key: str,
    serial: str,
    operation: str,
    pass_no: int,
    families: tuple[str, ...],
) -> list[tuple[float, OutFact]]:
    """Values of one feature beyond a limit, each with how far it is out in widths of the tolerance."""
    parts = table.parts
    at = np.flatnonzero(
        (parts["part"] == serial) & (parts["op"] == operation) & (parts["pass_no"] == pass_no)
    )
    absolute = plan.features[key].judge == "absolute"
    found = []
    for row in at:
        lower, upper = table.limits.lower[row], table.limits.upper[row]
        width = (
            upper - lower
            if np.isfinite(upper - lower)
            else abs(upper if np.isfinite(upper) else lower) or 1.0
        )
        values = np.abs(table.values[row]) if absolute else table.values[row]
        for column in np.flatnonzero(np.isfinite(values)):
            value = float(values[column])
            side = "above" if value > upper else "below" if value < lower else None
            if side is None:
                continue
            limit = float(upper if side == "above" else lower)
            fact = OutFact(
                serial=serial,
                pass_no=pass_no,
                family=families[int(parts["fam"].iloc[row])],
                feature=key,
                position=table.slots.positions[column],
                value=value,
                limit=limit,
                side=side,
                when=calendar.local(parts["time"].iloc[row].to_pydatetime()),
            )
            found.append((abs(value - limit) / width, fact))
    return found
