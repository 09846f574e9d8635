"""Tables of parts by positions: one per feature, measured and derived, over all machines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ingest.plans.limits import InForce, in_force
from ingest.plans.model import Feature, Plan, position_key
from ingest.plans.positions import Slots, slots
from ingest.readings.resolve import Resolved
from spc import derived

Floats = NDArray[np.float64]

PART_KEYS = ["on", "op", "part", "pass_no"]


@dataclass(frozen=True)
class FeatureTable:
    """Readings of one feature, a row per part and pass.

    Attributes
    ----------
    feature : str
    parts : DataFrame
        on (machine, or gauge for checks), op, part, pass_no, fam, tool, who and gauge (of its latest readings; see
        `by_whom`), time (job ended, else last reading; naive UTC), last (last reading), seq, day (local, since 1970);
        rows in order of machining.
    values : (n, p) array
        Absolute value in base unit, NaN = not measured.
    limits : InForce
        Target and limits of each row, NaN where there are none.
    slots : Slots
        Meaning of the columns.
    """

    feature: str
    parts: pd.DataFrame
    values: Floats
    limits: InForce
    slots: Slots

    def by_whom(self, rows: NDArray[np.int64]) -> pd.DataFrame:
        """Who measured some parts and with which gauge, columns who and gauge; missing where that is not known."""
        return self.parts.reindex(columns=["who", "gauge"]).iloc[rows]

    def deviations(self, log: bool) -> Floats:
        """Deviation from target; for a feature kept on the log scale the values themselves."""
        if log:
            return self.values
        target = np.where(np.isnan(self.limits.target), 0.0, self.limits.target)
        return self.values - target[:, None]


def feature_tables(plan: Plan, resolved: Resolved) -> dict[str, FeatureTable]:
    """Tables of all features that have a used reading.

    Parameters
    ----------
    plan : Plan
    resolved : Resolved

    Returns
    -------
    dict of str to FeatureTable
        By feature; a derived feature's table has the rows of the feature it is made of.
    """
    used = resolved.readings[resolved.readings["status"] == "used"]
    ended = _ended(resolved.passes)
    found: dict[str, FeatureTable] = {}
    for code, rows in used.groupby("feat", sort=True):
        key = resolved.features[int(code)]  # type: ignore[arg-type]
        found[key] = _measured(plan, resolved, key, rows, ended)
    for key, entry in plan.features.items():
        if entry.derive is not None and entry.of in found:
            table = _derived(plan, resolved.families, key, entry, found[entry.of])
            if table is not None:
                found[key] = table
    return found


def _ended(passes: pd.DataFrame) -> pd.DataFrame:
    named = passes.rename(
        columns={"operation": "op", "serial": "part", "pass": "pass_no", "tool": "job_tool"}
    )
    return named[["part", "op", "pass_no", "machine", "ended", "job_tool"]]


def by_place(
    part: NDArray[np.integer], slot: NDArray[np.integer], value: Floats, n_parts: int, of: Slots
) -> Floats:
    """Values of many parts as a table: a row per part, a column per place, NaN where nothing was read."""
    values = np.full((n_parts, len(of.positions)), np.nan)
    values[part, slot] = value
    return values


def _measured(
    plan: Plan, resolved: Resolved, key: str, rows: pd.DataFrame, ended: pd.DataFrame
) -> FeatureTable:
    grouped = rows.groupby(PART_KEYS, sort=False)
    number = grouped.ngroup().to_numpy()
    parts = grouped.agg(
        fam=("fam", "max"),
        last=("when", "max"),
        seq=("seq", "max"),
        reading_tool=("tool", "last"),
        who=("operator", "last"),
        gauge=("gauge", "last"),
    ).reset_index()
    parts = parts.merge(ended, on=["part", "op", "pass_no"], how="left")
    own = parts["machine"] == parts["on"]
    parts["time"] = parts["ended"].where(own).fillna(parts["last"])
    parts["tool"] = parts["job_tool"].where(own & parts["job_tool"].notna(), parts["reading_tool"])
    parts = parts.drop(columns=["machine", "ended", "job_tool", "reading_tool"])
    own_slots = resolved.slots[key]
    values = by_place(
        number, rows["slot"].to_numpy(), rows["value"].to_numpy(dtype=float), len(parts), own_slots
    )
    order = parts.sort_values(["time", "last", "seq", "part"], na_position="first", kind="stable").index
    parts = parts.loc[order].reset_index(drop=True)
    local = parts["time"].dt.tz_localize("UTC").dt.tz_convert(plan.zone).dt.tz_localize(None)
    parts["day"] = local.to_numpy().astype("datetime64[D]").astype(np.int64)
    limits = in_force(plan, key, resolved.families, parts["fam"].to_numpy(), parts["day"].to_numpy())
    return FeatureTable(key, parts, values[order.to_numpy()], limits, own_slots)


def _derived(
    plan: Plan, families: tuple[str, ...], key: str, entry: Feature, base: FeatureTable
) -> FeatureTable | None:
    """Derived values family by family, as ends, neighbours and sides differ between families."""
    own = slots(plan, key)
    values = np.full((len(base.parts), len(own.positions)), np.nan)
    fam = base.parts["fam"].to_numpy()
    for code in np.unique(fam):
        at = np.flatnonzero(fam == code)
        values[at] = _family_values(plan, entry, families[int(code)], own, base.slots, base.values[at])
    if not np.isfinite(values).any():
        return None
    rows = np.flatnonzero(np.isfinite(values).any(axis=1))
    parts = base.parts.iloc[rows].reset_index(drop=True)
    limits = in_force(plan, key, families, parts["fam"].to_numpy(), parts["day"].to_numpy())
    return FeatureTable(key, parts, values[rows], limits, own)


def _family_values(
    plan: Plan, entry: Feature, family: str, own: Slots, of: Slots, readings: Floats
) -> Floats:
    """Derived values of parts of one family, a column per derived position of any family."""
    values = np.full((len(readings), len(own.positions)), np.nan)
    have = of.of.get(family, ())
    if not have or not own.of.get(family):
        return values
    column = {text: i for i, text in enumerate(own.positions)}
    result = _derive(plan, entry, family, readings[:, list(have)], of.labels(have))
    axes = tuple(result.positions)
    for i, labels in enumerate(zip(*result.positions.values(), strict=True) if axes else [()]):
        values[:, column[position_key(axes, tuple(labels))]] = result.values[:, i]
    return values


def derived_weights(plan: Plan, key: str, family: str, of: Slots, readings: Floats) -> Floats:
    """The weight of each reading of one part in each of its derived values.

    Parameters
    ----------
    plan : Plan
    key : str
        A derived feature that is a difference or a step: a sum of readings with weights.
    family : str
        Of the part.
    of : Slots
        Places of the feature it is derived from.
    readings : (p,) array
        The part's readings there, NaN = not measured; it decides which sets are complete.

    Returns
    -------
    (q, p) array
        A row per derived position, 0 where a reading plays no part and where there is no derived value.
    """
    missing = np.where(np.isnan(readings), np.nan, 0.0)
    units = np.eye(len(readings)) + missing
    values = _family_values(plan, plan.features[key], family, slots(plan, key), of, units)
    return np.nan_to_num(values.T)


def _derive(
    plan: Plan, entry: Feature, family: str, readings: Floats, labels: dict[str, tuple[str, ...]]
) -> derived.Derived:
    if entry.derive == "range":
        return derived.spread_range(readings, labels, entry.keep)
    axis = entry.axis or ""
    order = plan.axis_values(axis, family)
    if entry.derive == "steps":
        return derived.steps(readings, labels, axis, (), order)
    plus, minus = (plan.side(words, axis, family) for words in (entry.plus, entry.minus))
    return derived.difference(readings, labels, axis, plus, minus, entry.keep, order)
