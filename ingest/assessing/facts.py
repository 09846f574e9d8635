"""What `spc` needs to know of each process: its parts in order, their tool lives, levels and budget."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ingest.answers.processes import BeyondFact, OutFact
from ingest.assessing.audits import AuditSeries, audit_series
from ingest.assessing.budget import Pace, monitors_of, pace
from ingest.assessing.lives import Lives, ToolNow, lives_of, tool_now
from ingest.assessing.outs import latest_beyond, latest_out
from ingest.plans.calendar import Calendar, microseconds
from ingest.plans.model import Feature, Plan
from ingest.readings.known import Known
from ingest.readings.resolve import Resolved
from ingest.readings.tables import FeatureTable, feature_tables
from spc.score.assess import Closing, Cure, ProcessData, ProcessOptions


@dataclass(frozen=True)
class ProcessFacts:
    """One process, ready to be assessed.

    Attributes
    ----------
    process : str
        MACHINE/operation/feature.
    machine, operation, feature : str
        Plan keys; the machine of a check process is the gauge. Of an audit the machine is the gauge and the
        operation the gauge that measured again.
    parts : DataFrame
        Parts in order of machining (first passes): part, pass_no, fam, time, day, tool, wear, aside.
    data : ProcessData
    options : ProcessOptions
    events : DataFrame
        Events that may concern the process, by time, with `index`, the first part made after each.
    cures : tuple of Cure
        `ident` is the row of `events`.
    closings : tuple of Closing
    renewal_unit : str or None
        What wear is counted in.
    rows : array of int
        Rows of `table` that `parts` are.
    table : FeatureTable
        Every pass on every machine, for what was delivered.
    gauges : dict of str to int64
        Latest use of each gauge in the process. [microseconds UTC]
    out : OutFact or None
        What of the latest part is out of tolerance.
    judged_by : tuple of str
        What people said of its signals, and the hash of the plan.
    tool : ToolNow or None
        The tool it wears, as it stands after the latest part made.
    """

    process: str
    machine: str
    operation: str
    feature: str
    parts: pd.DataFrame
    data: ProcessData
    options: ProcessOptions
    events: pd.DataFrame
    cures: tuple[Cure, ...]
    closings: tuple[Closing, ...]
    renewal_unit: str | None
    rows: np.ndarray
    table: FeatureTable
    gauges: dict[str, int]
    out: OutFact | None
    beyond: BeyondFact | None
    judged_by: tuple[str, ...]
    tool: ToolNow | None = None

    @property
    def monitors(self) -> int:
        """Monitors that score each part."""
        return monitors_of(self.data.readings.shape[1], len(self.data.strata))

    def fingerprint(self) -> str:
        """Hash of everything the assessment rests on; equal facts give the same assessment."""
        said = (
            self.process,
            self.options,
            self.cures,
            self.closings,
            self.out,
            self.beyond,
            self.gauges,
            self.judged_by,
            self.tool.mark if self.tool is not None else None,
        )
        digest = hashlib.sha256(repr(said).encode())
        data = self.data
        for array in (data.readings, *data.strata, data.family, data.day, data.run_length, data.level):
            digest.update(np.ascontiguousarray(array).tobytes())
        for array in (data.life, data.wear, data.learn):
            digest.update(np.ascontiguousarray(array).tobytes())
        digest.update("\n".join(self.parts["part"].astype(str)).encode())
        digest.update(self.parts["time"].to_numpy().astype("datetime64[us]").tobytes())
        told = self.events.drop(columns=["id", "receipt"])
        digest.update(told.to_csv(index=False).encode())
        digest.update(self.parts[["tool", "aside"]].to_csv(index=False).encode())
        digest.update(self.table.by_whom(self.rows).to_csv(index=False).encode())
        return digest.hexdigest()


@dataclass(frozen=True)
class ShopFacts:
    """All processes of the shop as of a moment, the pace they share, and what audits of gauges say."""

    processes: dict[str, ProcessFacts]
    tables: dict[str, FeatureTable]
    pace: Pace
    audits: tuple[AuditSeries, ...] = ()


def shop_facts(known: Known, resolved: Resolved, calendar: Calendar) -> ShopFacts:
    """Turn resolved readings into processes.

    Parameters
    ----------
    known : Known
    resolved : Resolved
        Of the same moment.
    calendar : Calendar

    Returns
    -------
    ShopFacts
        Processes by id, in order of id; a pure function of the arguments.
    """
    plan = known.plan
    tables = feature_tables(plan, resolved)
    lives = _lives(plan, resolved, known.events)
    used = resolved.readings[resolved.readings["status"].isin(["used", "repeat"])]
    gauges = _gauge_use(used, resolved.features)
    pending: list[tuple[str, str, str, FeatureTable, np.ndarray]] = []
    for key, table in tables.items():
        if not plan.features[key].monitor:
            continue
        firsts = table.parts[table.parts["pass_no"] == 1]
        for (on, op), rows in firsts.groupby(["on", "op"], sort=True):
            pending.append((str(on), str(op), key, table, rows.index.to_numpy()))
    audits = tuple(a for a in audit_series(plan, resolved) if plan.features[a.feature].monitor)
    for audit in audits:
        rows = audit.table.parts.index.to_numpy()
        pending.append((audit.gauge, audit.reference, audit.feature, audit.table, rows))
        gauges[(audit.gauge, audit.reference, audit.feature)] = audit.used
    made = [
        (
            table.parts["day"].to_numpy()[rows],
            monitors_of(len(table.slots.positions), len(table.slots.strata)),
        )
        for _, _, _, table, rows in pending
    ]
    shared = pace(plan, calendar, made)
    found = {}
    for on, op, key, table, rows in pending:
        out = latest_out(plan, calendar, on, op, key, tables, resolved.families)
        beyond = latest_beyond(plan, on, op, key, tables)
        facts = _process(known, on, op, key, table, rows, lives, gauges, shared, out, beyond)
        found[facts.process] = facts
    return ShopFacts(dict(sorted(found.items())), tables, shared, audits)


def _lives(plan: Plan, resolved: Resolved, events: pd.DataFrame) -> list[Lives]:
    passes = resolved.passes
    listed = pd.DataFrame(
        {
            "machine": passes["machine"],
            "operation": passes["operation"],
            "when": passes["ended"].fillna(passes["started"]),
            "family": passes["family"],
            "serial": passes["serial"],
            "pass": passes["pass"],
        }
    ).dropna(subset=["when", "machine"])
    used = resolved.readings[resolved.readings["status"] == "used"]
    seen = used.groupby(["on", "op", "part", "pass_no"], sort=False).agg(
        when=("when", "max"), fam=("fam", "max")
    )
    seen = seen.reset_index()
    seen["family"] = np.array([*resolved.families, None], dtype=object)[seen["fam"].to_numpy()]
    known_jobs = pd.MultiIndex.from_frame(listed[["serial", "operation", "pass"]])
    extra = seen[~pd.MultiIndex.from_frame(seen[["part", "op", "pass_no"]]).isin(known_jobs)]
    extra = extra.rename(columns={"on": "machine", "op": "operation", "part": "serial", "pass_no": "pass"})
    family = seen.drop_duplicates("part").set_index("part")["family"]
    listed["family"] = listed["family"].fillna(listed["serial"].map(family))
    columns = ["machine", "operation", "when", "family"]
    uses = pd.concat([listed[columns], extra[columns]]) if len(extra) else listed[columns]
    return [lives_of(plan, renewal, uses, events) for renewal in plan.renewals]


def _gauge_use(used: pd.DataFrame, features: tuple[str, ...]) -> dict[tuple[str, str, str], dict[str, int]]:
    """Latest use of each gauge by (machine, operation, measured feature)."""
    latest = used.dropna(subset=["gauge"]).groupby(["on", "op", "feat", "gauge"], sort=True)["when"].max()
    found: dict[tuple[str, str, str], dict[str, int]] = {}
    for (on, op, feat, gauge), when in latest.items():  # type: ignore[misc]
        stamp = microseconds(pd.Timestamp(when))
        found.setdefault((str(on), str(op), features[int(feat)]), {})[str(gauge)] = stamp
    return found


def concerns(feature: Feature, affected: tuple[str, ...]) -> bool:
    """Whether an event limited to some features concerns this one (itself or what it is made of)."""
    return not affected or feature.key in affected or (feature.of is not None and feature.of in affected)


def _process(
    known: Known,
    on: str,
    op: str,
    key: str,
    table: FeatureTable,
    rows: np.ndarray,
    lives: list[Lives],
    gauges: dict[tuple[str, str, str], dict[str, int]],
    shared: Pace,
    out: OutFact | None,
    beyond: BeyondFact | None,
) -> ProcessFacts:
    plan = known.plan
    feature = plan.features[key]
    process = f"{on}/{op}/{key}"
    parts = table.parts.loc[rows, ["part", "pass_no", "fam", "time", "day", "tool"]].reset_index(drop=True)
    times = parts["time"].to_numpy()
    asides = [_aside(known, process, p, int(n)) for p, n in zip(parts["part"], parts["pass_no"], strict=True)]
    parts["aside"] = pd.Series(asides, dtype=object)
    # What was done to either gauge of an audit moves their difference.
    both = (on, op) if on in plan.gauges and op in plan.gauges else (on,)
    events = _events(plan, feature, both, known.events)
    events = events.assign(index=np.searchsorted(times, events["time"].to_numpy(), side="right"))
    effect = {k: e.effect for k, e in plan.events.items()}
    restarts = events.loc[events["kind"].map(effect) == "restarts", "index"].to_numpy()
    level = np.searchsorted(np.sort(restarts), np.arange(len(parts)), side="right")
    own = next((x for x in lives if x.renewal.machine == on and key in x.renewal.features), None)
    life, wear = own.at(times) if own is not None else (np.full(len(parts), -1), np.zeros(len(parts)))
    parts["wear"] = np.where(life >= 0, wear, np.nan)
    if own is not None:
        fitted = [own.tools[i] if i >= 0 else None for i in life]
        parts["tool"] = parts["tool"].where(parts["tool"].notna(), pd.Series(fitted, dtype=object))
    use = gauges.get((on, op, feature.of or key), {})
    data = ProcessData(
        readings=table.deviations(feature.scale == "log")[rows],
        strata=table.slots.strata,
        family=parts["fam"].to_numpy(dtype=np.int64),
        day=parts["day"].to_numpy(dtype=np.int64),
        run_length=shared.run_length(parts["day"].to_numpy(dtype=np.int64)),
        level=level.astype(np.int64),
        life=life.astype(np.int64),
        wear=wear.astype(float),
        learn=np.array([a is None for a in asides], dtype=bool),
    )
    options = ProcessOptions(
        log=feature.scale == "log",
        wears=own is not None,
        daily=feature.daily_setting,
        resolution=max((_resolution(plan, g) for g in use), default=0.0),
    )
    cures = tuple(Cure(int(i), n) for n, i in enumerate(events["index"].to_numpy()) if int(i) < len(parts))
    return ProcessFacts(
        process, on, op, key, parts, data, options, events, cures, _closings(known, process, parts),
        own.renewal.unit if own is not None else None, rows, table, use, out, beyond, _said(known, process),
        tool_now(own) if own is not None else None,
    )  # fmt: skip


def _aside(known: Known, process: str, part: str, pass_no: int) -> str | None:
    return known.asides.get((process, part, pass_no)) or known.asides.get((None, part, pass_no))


def _resolution(plan: Plan, gauge: str) -> float:
    entry = plan.gauges.get(gauge)
    return float(entry.resolution) if entry is not None and entry.resolution is not None else 0.0


def _events(plan: Plan, feature: Feature, on: tuple[str, ...], events: pd.DataFrame) -> pd.DataFrame:
    mine = events[events["target"].isin(on)]
    kinds = [
        k for k in mine["kind"].unique() if k in plan.events and concerns(feature, plan.events[k].features)
    ]
    return mine[mine["kind"].isin(kinds)].reset_index(drop=True)


def _closings(known: Known, process: str, parts: pd.DataFrame) -> tuple[Closing, ...]:
    """Closings of this process's signals whose raising part is still among the parts."""
    at = {(p, int(n)): i for i, (p, n) in enumerate(zip(parts["part"], parts["pass_no"], strict=True))}
    times = parts["time"].to_numpy()
    found = []
    for entry in known.decisions:
        if entry.kind != "close_signal" or entry.body.get("process") != process:
            continue
        first = at.get((str(entry.body["serial"]), int(entry.body["pass"])))
        if first is not None:
            moment = np.datetime64(entry.known_at.replace(tzinfo=None), "us")
            after = max(int(np.searchsorted(times, moment, side="right")), first + 1)
            found.append(Closing(str(entry.body["monitor"]), first, after, str(entry.body["outcome"])))
    return tuple(found)


def _said(known: Known, process: str) -> tuple[str, ...]:
    """Everything people said about this process's signals, and the plan it is judged by."""
    words = [
        f"{d.line} {d.who} {d.known_at.isoformat()} {sorted(d.body.items())}"
        for d in known.decisions
        if d.kind == "close_signal" and d.body.get("process") == process
    ]
    return (known.plan.sha256, *words)
