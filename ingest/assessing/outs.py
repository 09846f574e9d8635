"""Parts beyond a limit, the latest one and how many of the latest: last passes against the specification in force."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pandas as pd

from ingest.answers.processes import BeyondFact, OutFact
from ingest.plans.calendar import Calendar
from ingest.plans.limits import EPOCH, HAIR
from ingest.plans.model import Plan
from ingest.readings.tables import FeatureTable

LATEST = 40
"""Parts among which those beyond a limit are counted: as many as the small picture of a process shows."""


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
    found: list[tuple[float, OutFact]] = []
    for name in _judged(plan, key, tables):
        found += _beyond(plan, calendar, tables[name], name, serial, operation, pass_no, families)
    if not found:
        return None
    worst = max(found, key=lambda pair: pair[0])[1]
    return OutFact(**{**worst.__dict__, "count": len(found)})


def _judged(plan: Plan, key: str, tables: dict[str, FeatureTable]) -> list[str]:
    """A feature and those derived from it that are not watched as processes of their own."""
    return [key] + [
        other
        for other, entry in plan.features.items()
        if entry.of == key and not entry.monitor and other in tables
    ]


def latest_beyond(
    plan: Plan, machine: str, operation: str, key: str, tables: dict[str, FeatureTable]
) -> BeyondFact | None:
    """How many of the latest parts of a process were delivered beyond a limit; None when none was.

    Parts and values as in `latest_out`: the latest 40 that went over the machine, each by its last pass. A
    process that has always been wrong never changes, so that only this tells of it.
    """
    if operation != plan.features[key].operation:
        return None
    parts = tables[key].parts
    mine = parts.loc[(parts["on"] == machine) & (parts["op"] == operation), "part"]
    latest = mine.drop_duplicates(keep="last").tail(LATEST)
    passes = parts[(parts["op"] == operation) & parts["part"].isin(latest)]
    delivered = passes.groupby("part")["pass_no"].max()
    found = [_share(plan, tables[name], name, operation, delivered) for name in _judged(plan, key, tables)]
    return max((fact for fact in found if fact), key=lambda fact: fact.parts, default=None)


def _share(
    plan: Plan, table: FeatureTable, key: str, operation: str, delivered: pd.Series
) -> BeyondFact | None:
    """Parts of one feature beyond a limit among the delivered passes."""
    parts = table.parts
    at = np.flatnonzero((parts["op"] == operation) & (parts["part"].map(delivered) == parts["pass_no"]))
    lower, upper = table.limits.lower[at], table.limits.upper[at]
    values = table.values[at]
    if plan.features[key].judge == "absolute":
        values = np.abs(values)
    known = np.isfinite(values).any(axis=1) & (np.isfinite(lower) | np.isfinite(upper))
    with np.errstate(invalid="ignore"):
        above = known & (values > upper[:, None] + HAIR).any(axis=1)
        below = known & (values < lower[:, None] - HAIR).any(axis=1)
    beyond = above | below
    if not beyond.any():
        return None
    middle = (lower + upper)[known] / 2.0
    offset = float(np.mean(np.nanmean(values[known], axis=1) - middle))
    return BeyondFact(
        feature=key,
        parts=int(beyond.sum()),
        of=int(known.sum()),
        above=int(above.sum()),
        below=int(below.sum()),
        latest=date.fromordinal(EPOCH + int(parts["day"].to_numpy()[at][beyond].max())),
        offset=offset if math.isfinite(offset) else None,
    )


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
            side = "above" if value > upper + HAIR else "below" if value < lower - HAIR else None
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
