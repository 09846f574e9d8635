"""What each stored reading counts as: its family, machine, operation, pass, and whether it is used.

A pure function of what was known: the same rows give the same answer whatever order they came in. A reading
that lacks an answer waits and is used as soon as the answer is among the facts; nothing is written back.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ingest.answers.processes import Question
from ingest.plans.model import Plan
from ingest.plans.positions import Slots, slots
from ingest.plans.serials import unknown_serials
from ingest.readings.clocks import clock_offsets
from ingest.readings.known import Known
from ingest.readings.passes import joint_codes, latest_pass, passes_of
from ingest.readings.plausible import value_doubts

Ints = NDArray[np.int64]
UNKNOWN, CONFLICT = -1, -2
SAME_SIZE = 0.5
"""Masters nearer than this are one size. [µm]"""


@dataclass(frozen=True)
class Resolved:
    """Readings with what they count as.

    Attributes
    ----------
    readings : DataFrame
        Columns of `Known.readings` plus `fam` and `feat` (codes into `families` and `features`), `on`
        (machine or, for checks, gauge), `op`, `pass_no` (0 = none), `part` (serial; for checks master and
        moment), `when` (time less the offset of a clock found wrong), `day` (local, days since 1970),
        `slot` (column of the feature's positions), `status` (used | repeat | incoming | waiting | doubt |
        rejected | audit | study), `kind` (why it waits or is doubted; "" otherwise), `hint` (what it probably means;
        None otherwise).
    passes : DataFrame
        From `passes_of`.
    families, features : tuple of str
        Keys that `fam` (families, then masters) and `feat` stand for.
    slots : dict of str to Slots
        By measured feature.
    questions : tuple of Question
    """

    readings: pd.DataFrame
    passes: pd.DataFrame
    families: tuple[str, ...]
    features: tuple[str, ...]
    slots: dict[str, Slots]
    questions: tuple[Question, ...]

    def held(self) -> pd.DataFrame:
        """Readings that do not count for now: waiting, in doubt or rejected."""
        return self.readings[self.readings["status"].isin(["waiting", "doubt", "rejected"])]


def codes(values: pd.Series, keys: tuple[str, ...]) -> Ints:
    """Index of each value in `keys`, -1 where it is missing or not among them."""
    return np.asarray(pd.Categorical(values, categories=list(keys)).codes, dtype=np.int64)


def resolve(known: Known) -> Resolved:
    """Give every reading its family, machine, operation, pass and status.

    Parameters
    ----------
    known : Known
        Facts as of a moment.

    Returns
    -------
    Resolved
    """
    plan = known.plan
    families = (*plan.families, *plan.masters)
    features = tuple(plan.features)
    passes = passes_of(known.jobs)
    rows = known.readings.copy(deep=False)
    checks = (rows["role"] == "checks").to_numpy()
    feat = codes(rows["feature"], features)
    fam = np.where(checks, _master(plan, rows, families, checks), _family(plan, rows, known.jobs))
    op = _operation(plan, rows, feat)
    hint = _machine_hint(plan, rows)
    rows = rows.assign(feat=feat, fam=fam, op=op, before=_before(plan, rows))
    rows["day"] = local_days(plan, rows["time"])

    offset, clock_questions = clock_offsets(rows, passes)
    rows["when"] = rows["time"] + pd.to_timedelta(offset, unit="min")
    rows["day"] = local_days(plan, rows["when"])
    _assign_pass(plan, rows, passes, hint, checks)
    rows["part"] = rows["serial"]
    if checks.any():
        rows.loc[checks, "part"] = _check_names(plan, rows[checks])

    columns = {key: slots(plan, key) for key in features if plan.features[key].derive is None}
    rows["slot"] = _slot(rows, features, families, columns)
    kind, suggestion, swap_questions = _doubts(plan, rows, passes, features, families, columns)
    rows["hint"] = suggestion
    rows["status"], rows["kind"] = _status(known, rows, kind, checks)
    _mark_repeats(rows)
    return Resolved(rows, passes, families, features, columns, (*clock_questions, *swap_questions))


def local_days(plan: Plan, times: pd.Series) -> Ints:
    """Day of each instant (naive UTC) in the shop's zone, in days since 1970-01-01."""
    local = times.dt.tz_localize("UTC").dt.tz_convert(plan.zone).dt.tz_localize(None)
    return local.to_numpy().astype("datetime64[D]").astype(np.int64)


def _family(plan: Plan, rows: pd.DataFrame, jobs: pd.DataFrame) -> Ints:
    """Family by row, job list, serial pattern, set master size, layout; CONFLICT where two disagree."""
    keys = tuple(plan.families)
    serials, index = _distinct(rows["serial"])
    listed = jobs.dropna(subset=["family"])[["serial", "family"]].drop_duplicates()
    several = set(listed.loc[listed["serial"].duplicated(keep=False), "serial"])
    by_job = dict(zip(listed["serial"], listed["family"], strict=True))
    at = {key: i for i, key in enumerate(keys)}
    job = np.array([CONFLICT if s in several else at.get(by_job.get(s, ""), UNKNOWN) for s in serials])
    patterns = [(at[k], re.compile(f.serial)) for k, f in plan.families.items() if f.serial]
    marked = np.array([_only([i for i, p in patterns if s and p.fullmatch(s)]) for s in serials])
    layout_family = {k: lay.family for k, lay in plan.layouts.items() if lay.family}
    sources = [
        codes(rows["family"], keys),
        job[index] if len(serials) else np.full(len(rows), UNKNOWN),
        marked[index] if len(serials) else np.full(len(rows), UNKNOWN),
        _set_master(plan, rows, keys),
        codes(rows["layout"].map(layout_family), keys),
    ]
    return _agree(sources)


def _set_master(plan: Plan, rows: pd.DataFrame, keys: tuple[str, ...]) -> Ints:
    """Family whose target is the only one within reach of the size the gauge was set to."""
    found = np.full(len(rows), UNKNOWN)
    given = rows["set_size"].notna().to_numpy()
    if not given.any():
        return found
    pairs = rows.loc[given, ["feature", "set_size"]]
    distinct, index = np.unique(pairs["set_size"].to_numpy(), return_inverse=True)
    for feature in pairs["feature"].unique():
        entry = plan.features.get(feature)
        if entry is None or entry.plausible is None:
            continue
        reach = [
            (s.aim, keys.index(k)) for s in plan.specifications if s.feature == feature for k in s.families
        ]
        code = np.array(
            [
                _only(sorted({k for aim, k in reach if abs(size - aim) <= entry.plausible}))
                for size in distinct
            ]
        )
        here = np.flatnonzero(given)[(pairs["feature"] == feature).to_numpy()]
        found[here] = code[index[(pairs["feature"] == feature).to_numpy()]]
    return found


def _master(plan: Plan, rows: pd.DataFrame, families: tuple[str, ...], checks: NDArray[np.bool_]) -> Ints:
    """Master of a check: the row's, else the layout's, else the only one of the size it was set to."""
    by_layout = {k: lay.master for k, lay in plan.layouts.items() if lay.master}
    named = rows["master"].where(rows["master"].notna(), rows["layout"].map(by_layout))
    found = codes(named, families)
    sized = np.flatnonzero(checks & rows["set_size"].notna().to_numpy() & (found == UNKNOWN))
    sizes = rows["set_size"].to_numpy(dtype=float)[sized]
    for size in np.unique(sizes):
        alike = [families.index(k) for k, m in plan.masters.items() if abs(float(m.size) - size) < SAME_SIZE]
        found[sized[sizes == size]] = _only(alike)
    return found


def _agree(sources: list[Ints]) -> Ints:
    found = np.full(len(sources[0]), UNKNOWN)
    clash = np.zeros(len(found), dtype=bool)
    for source in sources:
        clash |= (source == CONFLICT) | ((found >= 0) & (source >= 0) & (source != found))
        found = np.where(found == UNKNOWN, source, found)
    return np.where(clash, CONFLICT, found)


def _only(candidates: list[int]) -> int:
    return candidates[0] if len(candidates) == 1 else UNKNOWN


def _distinct(values: pd.Series) -> tuple[list[str], Ints]:
    index, labels = pd.factorize(values, use_na_sentinel=False)
    return [label if isinstance(label, str) else "" for label in labels], np.asarray(index, dtype=np.int64)


def _operation(plan: Plan, rows: pd.DataFrame, feat: Ints) -> pd.Series:
    """Operation a reading speaks of: stage, row, layout, else the one that makes the feature."""
    own = np.array([*(f.operation for f in plan.features.values()), ""], dtype=object)
    by_layout = {k: lay.operation for k, lay in plan.layouts.items() if lay.operation}
    stage = rows["stage"].where(rows["stage"].isin(list(plan.operations)))
    named = stage.where(stage.notna(), rows["operation"])
    named = named.where(named.notna(), rows["layout"].map(by_layout))
    return named.astype(object).where(named.notna(), pd.Series(own[feat], index=rows.index))


def _before(plan: Plan, rows: pd.DataFrame) -> NDArray[np.bool_]:
    by_layout = {k: lay.stage for k, lay in plan.layouts.items() if lay.stage}
    stage = rows["stage"].where(rows["stage"].notna(), rows["layout"].map(by_layout))
    return (stage == "before").fillna(False).to_numpy(dtype=bool)


def _machine_hint(plan: Plan, rows: pd.DataFrame) -> Ints:
    """Machine that row, layout or fixed gauge speak for; CONFLICT where they disagree."""
    keys = tuple(plan.machines)
    by_layout = {k: lay.machine for k, lay in plan.layouts.items() if lay.machine}
    by_gauge = {k: g.machine for k, g in plan.gauges.items() if g.machine}
    return _agree(
        [
            codes(rows["machine"], keys),
            codes(rows["layout"].map(by_layout), keys),
            codes(rows["gauge"].map(by_gauge), keys),
        ]
    )


def _assign_pass(
    plan: Plan, rows: pd.DataFrame, passes: pd.DataFrame, hint: Ints, checks: NDArray[np.bool_]
) -> None:
    """Fill `on`, `pass_no`, `incoming` and `clash` in place."""
    machines = np.array([*plan.machines, None], dtype=object)
    on = machines[np.where(hint >= 0, hint, len(plan.machines))]
    ask = pd.DataFrame(
        {"serial": rows["serial"], "operation": rows["op"], "machine": on, "when": rows["when"]},
        index=rows.index,
    ).astype({"machine": object})
    anywhere = latest_pass(ask, passes, on_machine=False)
    pass_no = anywhere["pass"].to_numpy().copy()
    machine = anywhere["pass_machine"].to_numpy().copy()
    first = _first_of(ask, passes)
    hinted = hint >= 0
    clash = hint == CONFLICT
    if hinted.any() and len(passes):
        here = latest_pass(ask[hinted], passes, on_machine=True)
        at = np.flatnonzero(hinted)
        listed = pass_no[at] > 0
        pass_no[at] = here["pass"].to_numpy()
        machine[at] = on[at]
        clash[at] |= listed & (here["pass"].to_numpy() == 0)
    given = rows["pass"].notna().to_numpy()
    if given.any():
        stated = rows.loc[given, "pass"].astype("int64")
        named = (
            ask[given]
            .assign(**{"pass": stated})
            .merge(
                passes[["serial", "operation", "pass", "machine"]].rename(columns={"machine": "listed"}),
                on=["serial", "operation", "pass"],
                how="left",
            )
        )
        at = np.flatnonzero(given)
        listed_on = named["listed"].to_numpy(dtype=object)
        pass_no[at] = stated.to_numpy()
        known = pd.notna(listed_on)
        clash[at] |= known & hinted[at] & (listed_on != on[at])
        machine[at] = np.where(hinted[at], on[at], np.where(known, listed_on, None))
    unlisted = ~first & ~given
    machine[unlisted] = on[unlisted]
    pass_no[unlisted & hinted] = 1
    before = rows["before"].to_numpy()
    incoming = (first & (pass_no == 0) & ~clash) | before
    machine[before] = None
    gauges = rows["gauge"].to_numpy(dtype=object)
    machine[checks] = gauges[checks]
    pass_no[checks] = 1
    rows["on"] = machine
    rows["pass_no"] = np.where(incoming, 0, pass_no)
    rows["incoming"] = incoming & ~checks
    rows["clash"] = clash & ~checks


def _first_of(ask: pd.DataFrame, passes: pd.DataFrame) -> NDArray[np.bool_]:
    """True where the job list has a pass of this serial through this operation."""
    asked, listed = joint_codes(ask, passes, ["serial", "operation"])
    return np.isin(asked, listed)


def _check_names(plan: Plan, rows: pd.DataFrame) -> pd.Series:
    """Name of a check in place of a serial: its master and the moment in shop time."""
    local = rows["when"].dt.tz_localize("UTC").dt.tz_convert(plan.zone).dt.strftime("%Y-%m-%d %H:%M:%S")
    return rows["master"].fillna("master").astype(object) + " " + local.astype(object)


def _slot(
    rows: pd.DataFrame, features: tuple[str, ...], families: tuple[str, ...], columns: dict[str, Slots]
) -> Ints:
    """Column of each reading among its feature's positions; -1 where its family has no such position."""
    place, texts = pd.factorize(rows["position"])
    table = np.full((len(features), len(families) + 1, max(len(texts), 1)), UNKNOWN)
    where = {text: i for i, text in enumerate(texts)}
    for f, key in enumerate(features):
        if key not in columns:
            continue
        for family, own in columns[key].of.items():
            for column in own:
                text = columns[key].positions[column]
                if text in where:
                    table[f, families.index(family), where[text]] = column
    feat, fam = rows["feat"].to_numpy(), rows["fam"].to_numpy()
    found = table[feat, np.where(fam >= 0, fam, len(families)), place]
    return np.where((feat >= 0) & (fam >= 0), found, UNKNOWN)


def _doubts(
    plan: Plan,
    rows: pd.DataFrame,
    passes: pd.DataFrame,
    features: tuple[str, ...],
    families: tuple[str, ...],
    columns: dict[str, Slots],
) -> tuple[NDArray[Any], NDArray[Any], tuple[Question, ...]]:
    """First reason to doubt each reading, and what it probably means."""
    kind = np.full(len(rows), "", dtype=object)
    hint = np.full(len(rows), None, dtype=object)
    kind[:], hint[:], questions = value_doubts(plan, rows, features, families, columns)
    settled = (rows["fam"].to_numpy() >= 0) & (rows["feat"].to_numpy() >= 0)
    kind[settled & (rows["slot"].to_numpy() < 0)] = "unknown_position"
    kind[rows["feat"].to_numpy() < 0] = "unknown_feature"
    cannot = pd.DataFrame({"on": rows["on"], "op": rows["op"]})
    able = {(m, o) for m, entry in plan.machines.items() for o in entry.operations}
    pairs = cannot.drop_duplicates().dropna()
    bad = {(m, o) for m, o in zip(pairs["on"], pairs["op"], strict=True) if m in plan.machines} - able
    if bad:
        kind[pd.MultiIndex.from_frame(cannot).isin(list(bad))] = "machine_cannot"
    with_serial = rows.loc[rows["serial"].notna() & ~rows["role"].isin(["checks", "study"]), "serial"]
    odd = unknown_serials(with_serial.unique(), passes["serial"].unique(), plan.shop.serial)
    if odd:
        at = rows["serial"].isin(list(odd)).to_numpy()
        kind[at] = "unknown_serial"
        hint[at] = rows.loc[at, "serial"].map(odd).to_numpy()
    return kind, hint, questions


def _status(
    known: Known, rows: pd.DataFrame, doubt: NDArray[Any], checks: NDArray[np.bool_]
) -> tuple[NDArray[Any], NDArray[Any]]:
    fam, on = rows["fam"].to_numpy(), rows["on"]
    incoming = rows["incoming"].to_numpy()
    wait = np.full(len(rows), "", dtype=object)
    wait[(on.isna()).to_numpy() & ~incoming] = "no_machine"
    wait[checks & on.isna().to_numpy()] = "no_gauge"
    wait[rows["clash"].to_numpy()] = "machine_conflict"
    wait[(fam == UNKNOWN) & ~checks] = "no_family"
    wait[(fam == UNKNOWN) & checks] = "no_master"
    wait[fam == CONFLICT] = "family_conflict"
    released, rejected = _rows_decided(known, rows)
    serial_doubt = doubt == "unknown_serial"
    doubted = (doubt != "") & ~released
    status = np.full(len(rows), "used", dtype=object)
    status[incoming] = "incoming"
    status[(rows["role"] == "audit").to_numpy()] = "audit"
    status[doubted] = "doubt"
    waiting = (wait != "") & ~(serial_doubt & doubted)
    status[waiting] = "waiting"
    # The parts of a trial need be no parts of the shop: only their differences count.
    status[(rows["role"] == "study").to_numpy() & (rows["feat"] >= 0).to_numpy()] = "study"
    status[rejected] = "rejected"
    kind = np.where(status == "waiting", wait, np.where(status == "doubt", doubt, ""))
    kind[rejected] = "rejected"
    return status, kind


def _rows_decided(known: Known, rows: pd.DataFrame) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    released = np.zeros(len(rows), dtype=bool)
    rejected = np.zeros(len(rows), dtype=bool)
    verdicts = known.verdicts_on_rows
    if not verdicts:
        return released, rejected
    at = np.flatnonzero(rows["sha"].isin({sha for sha, _, _ in verdicts}).to_numpy())
    names = rows.iloc[at]
    for row, sha, line, col in zip(at, names["sha"], names["line"], names["col"], strict=True):
        verdict = verdicts.get((sha, int(line), col)) or verdicts.get((sha, int(line), None))
        released[row] = verdict == "released"
        rejected[row] = verdict == "rejected"
    return released, rejected


def _mark_repeats(rows: pd.DataFrame) -> None:
    """Within a pass the latest reading of a position is used; earlier ones become repeats."""
    keys = ["feat", "part", "op", "pass_no", "on", "slot"]
    used = rows[rows["status"] == "used"]
    if not used.duplicated(keys).any():
        return
    order = ["when", "seq", "sha", "line", "col"]
    twice = used[used.duplicated(keys, keep=False)].sort_values(order, na_position="first", kind="stable")
    earlier = twice.index[twice.duplicated(keys, keep="last")]
    rows.loc[earlier, "status"] = "repeat"
