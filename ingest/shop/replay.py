"""Moments at which something became known late, so that what was said before can be told again.

What is said of a part rests on earlier parts only. So a verdict, or a signal, is the same now as when it was
first given, unless something became known later that had happened on an earlier day. Those moments are few (the
files of one day may come in any order: what is said of a part on its day settles at the end of it). Assessing
the shop as of just before each of them brings back every first verdict and every signal since withdrawn: after
files of many days were taken in at once, and after a rebuild.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd

from ingest.state import queries
from ingest.state.moment import Moment
from ingest.state.saving import save
from ingest.storage.plan_shelf import PlanShelf
from ingest.storage.store import Store

REWRITING = (
    "set_part_aside", "restore_part", "undo", "release_row", "reject_row", "correct_rows", "fix_rows",
    "note_event",
)  # fmt: skip
"""Decisions that may change what was said of parts already judged."""


def replay(store: Store, shelf: PlanShelf, moment: Moment, after: datetime) -> None:
    """Store first verdicts and withdrawn signals of the time since `after`.

    The shop is assessed just before and just after each moment at which something became known late.

    Parameters
    ----------
    store : Store
    shelf : PlanShelf
    moment : Moment
        Of everything known.
    after : datetime
        Up to which moment the stored assessments had come; zone-less UTC.
    """
    files = queries.files_known(store)
    lines = [(d.known_at, d.kind) for d in queries.decisions(store)]
    micro = timedelta(microseconds=1)
    for cut in late_cuts(moment, {i: when for i, (when, _) in files.items()}, lines, after):
        for at in (cut, cut + micro):
            names = [name for when, name in files.values() if when == at]
            cause = ", ".join(names) or "a decision in the log"
            past = Moment(queries.known(store, shelf, at.replace(tzinfo=UTC)))
            save(store, past, at, cause, complete=False)


def late_cuts(
    moment: Moment, file_known: dict[int, datetime], lines: list[tuple[datetime, str]], after: datetime
) -> list[datetime]:
    """Moments just before something late became known.

    Parameters
    ----------
    moment : Moment
        Of everything known.
    file_known : dict of int to datetime
        When each receipt became known; zone-less UTC.
    lines : list of (known_at, kind)
        Every line of the journal.
    after : datetime
        Up to which moment the shop has been assessed already; zone-less UTC.

    Returns
    -------
    list of datetime
        Zone-less UTC, oldest first; none at or before `after`.
    """
    known = {i: np.datetime64(when, "us") for i, when in file_known.items()}
    late: set[np.datetime64] = {np.datetime64(when, "us") for when, kind in lines if kind in REWRITING}
    used = moment.resolved.readings[moment.resolved.readings["status"].isin(["used", "repeat"])]
    streams = used.groupby(["on", "op", "feat"], sort=False).ngroup().to_numpy()
    late |= _late(streams, used["when"], used["receipt"], known)
    jobs = moment.known.jobs
    times = jobs["ended"].fillna(jobs["started"])
    told = times.notna() & jobs["machine"].notna()
    machines = pd.factorize(jobs.loc[told, "machine"])[0]
    late |= _late(machines, times[told], jobs.loc[told, "receipt"], known)
    events = moment.known.events.dropna(subset=["receipt"])
    late |= _late_events(events, used, known)
    micro = np.timedelta64(1, "us")
    begun = np.datetime64(after, "us")
    return [(cut - micro).astype(datetime) for cut in sorted(late) if cut - micro > begun]


def _late(
    stream: np.ndarray, when: pd.Series, receipt: pd.Series, known: Mapping[int, np.datetime64]
) -> set[np.datetime64]:
    """Moments at which a stream got an entry of an earlier day than its newest one known before."""
    if not len(stream):
        return set()
    told = receipt.map(known).to_numpy(dtype="datetime64[us]")
    table = pd.DataFrame({"stream": stream, "told": told, "when": when.to_numpy(dtype="datetime64[us]")})
    spans = table.groupby(["stream", "told"], sort=True)["when"].agg(["min", "max"])
    newest = spans.groupby(level="stream")["max"].cummax().groupby(level="stream").shift()
    earlier = spans["min"].dt.floor("D") < newest.dt.floor("D")
    return set(spans.index.get_level_values("told").to_numpy()[earlier.to_numpy()])


def _late_events(
    events: pd.DataFrame, used: pd.DataFrame, known: Mapping[int, np.datetime64]
) -> set[np.datetime64]:
    """Moments at which an event became known that lies on a day before readings known before it."""
    if not len(events) or not len(used):
        return set()
    told = used["receipt"].map(known).to_numpy(dtype="datetime64[us]")
    table = pd.DataFrame({"on": used["on"].to_numpy(), "told": told, "when": used["when"].to_numpy()})
    late: set[np.datetime64] = set()
    newest = table.groupby(["on", "told"], sort=True)["when"].max().groupby(level="on").cummax()
    for target, mine in events.groupby("target", sort=False):
        if target not in newest.index.get_level_values("on"):
            continue
        reached = newest.loc[target]
        moments = mine["receipt"].astype("int64").map(known).to_numpy(dtype="datetime64[us]")
        before = np.searchsorted(reached.index.to_numpy(), moments, side="left") - 1
        seen = reached.to_numpy()[np.maximum(before, 0)]
        days = [np.asarray(t, dtype="datetime64[us]").astype("datetime64[D]") for t in (mine["time"], seen)]
        late |= set(moments[(before >= 0) & (days[0] < days[1])])
    return late
