"""Tool lives: what each use of a tool was, and how many it had before a part."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ingest.plans.model import Plan, Renewal


@dataclass(frozen=True)
class Lives:
    """Lives of one renewed tool on its machine.

    Attributes
    ----------
    renewal : Renewal
    starts : (lives,) datetime64 array
        When each life began, oldest first. [naive UTC]
    tools : tuple of str or None
        Tool fitted at each start.
    kinds : tuple of str
        Kind of event at each start.
    when : (uses,) datetime64 array
        When each use ended, oldest first.
    total : (uses + 1,) float array
        Uses up to each of them; total[0] = 0.
    """

    renewal: Renewal
    starts: NDArray[np.datetime64]
    tools: tuple[str | None, ...]
    kinds: tuple[str, ...]
    when: NDArray[np.datetime64]
    total: NDArray[np.float64]

    def at(self, times: NDArray[np.datetime64]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
        """Number of the life at each time (-1 before the first known start) and its uses before that time."""
        life = np.searchsorted(self.starts, times, side="left") - 1
        before = self.total[np.searchsorted(self.when, times, side="left")]
        base = (
            self.total[np.searchsorted(self.when, self.starts, side="right")] if len(self.starts) else before
        )
        worn = (
            np.where(life >= 0, before - base[np.maximum(life, 0)], 0.0) if len(self.starts) else before * 0.0
        )
        return life.astype(np.int64), worn


def lives_of(plan: Plan, renewal: Renewal, uses: pd.DataFrame, events: pd.DataFrame) -> Lives:
    """Lives and uses of one tool.

    Parameters
    ----------
    plan : Plan
    renewal : Renewal
        Which machine, which events begin a life, what is counted.
    uses : DataFrame
        Every pass of a part through an operation: machine, operation, when, family.
    events : DataFrame
        target, kind, time, tool, sorted by time.

    Returns
    -------
    Lives
        Counted over all parts the machine made in the operations of the renewal's features, measured or not.
    """
    operations = {plan.features[f].operation for f in renewal.features if f in plan.features}
    mine = uses[(uses["machine"] == renewal.machine) & uses["operation"].isin(operations)]
    mine = mine.sort_values("when", kind="stable")
    counts = {
        key: 1 if renewal.count == "part" else max(1, len(plan.axis_values(renewal.count, key)))
        for key in plan.families
    }
    number = mine["family"].map(counts).fillna(1).to_numpy(dtype=float)
    begins = events[(events["target"] == renewal.machine) & events["kind"].isin(renewal.events)]
    return Lives(
        renewal,
        begins["time"].to_numpy(),
        tuple(t if isinstance(t, str) else None for t in begins["tool"]),
        tuple(str(kind) for kind in begins["kind"]),
        mine["when"].to_numpy(),
        np.concatenate([[0.0], np.cumsum(number)]),
    )


@dataclass(frozen=True)
class ToolNow:
    """The tool on a machine after the latest part made: which life, since when, how far."""

    renewal: Renewal
    life: int
    """-1 before the first renewal in the log."""
    uses: float
    since: np.datetime64 | None
    """[naive UTC]"""
    tool: str | None
    began_with: str | None
    kinds: tuple[str, ...] = ()
    """Kind of event at the start of every life, oldest first."""

    @property
    def mark(self) -> tuple[str, ...]:
        """Everything about it, to tell whether it has changed."""
        return tuple(
            str(v) for v in (self.renewal.name, self.life, self.uses, self.since, self.tool, self.began_with)
        )


def tool_now(lives: Lives) -> ToolNow:
    """Where the current life of a tool stands, going by everything made so far, measured or not."""
    last = len(lives.starts) - 1
    if last < 0:
        return ToolNow(lives.renewal, -1, float(lives.total[-1]), None, None, None)
    start = lives.starts[last]
    base = lives.total[np.searchsorted(lives.when, start, side="right")]
    return ToolNow(
        lives.renewal,
        last,
        float(lives.total[-1] - base),
        start,
        lives.tools[last],
        lives.kinds[last],
        lives.kinds,
    )
