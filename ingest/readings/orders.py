"""Places that stand in another order than a gauge always keeps: were two of them exchanged?"""

from __future__ import annotations

import pandas as pd

from ingest.answers.processes import Question
from ingest.plans.model import Plan
from ingest.plans.places import place_text
from ingest.plans.positions import Slots

ORDER_PARTS = 3
"""Parts of a file that must stand in another order before anybody is asked."""
HABIT = 0.2
"""Share of days up to which something is an exception and not this gauge's habit."""


def order_questions(
    plan: Plan, rows: pd.DataFrame, features: tuple[str, ...], columns: dict[str, Slots]
) -> tuple[Question, ...]:
    """Files in which several parts were measured in another order of places than the gauge always keeps.

    The readings count: places may really have been measured in another order. But names may also have been
    exchanged, and only a person can tell; so it is a question, never an alarm.
    """
    ask = rows.loc[
        (rows["slot"] >= 0) & (rows["role"] == "readings"),
        ["receipt", "serial", "feat", "gauge", "time", "seq", "line", "slot", "col"],
    ].sort_values(["receipt", "feat", "serial", "time", "seq", "line"], na_position="first", kind="stable")
    if not len(ask):
        return ()
    key = ask[["receipt", "feat", "serial"]]
    same = (key == key.shift()).all(axis=1)
    turned = ask[same & (ask["slot"] < ask["slot"].shift())].assign(before=ask["slot"].shift())
    if not len(turned):
        return ()
    everyone = ask.groupby(["receipt", "feat", "gauge"], sort=False, dropna=False)["serial"].nunique()
    odd = turned.groupby(["receipt", "feat", "gauge"], sort=False, dropna=False)["serial"].nunique()
    of_gauge = ["feat", "gauge"]
    habit = (
        odd.groupby(level=of_gauge, dropna=False).sum() / everyone.groupby(level=of_gauge, dropna=False).sum()
    )
    found = []
    for (receipt, feat, gauge), parts in odd.items():  # type: ignore[misc]
        if parts < ORDER_PARTS or habit[(feat, gauge)] > HABIT:
            continue
        here = turned[(turned["receipt"] == receipt) & (turned["feat"] == feat)]
        pairs = here.groupby(["slot", "before"]).size()
        places = columns[features[int(feat)]].positions
        low, high = (place_text(plan, places[int(i)]) for i in pairs.idxmax())  # type: ignore[arg-type]
        found.append(
            Question(
                "places_exchanged",
                f"On {parts} parts {high} was measured before {low}, against the order this gauge always keeps: were "
                "the two places exchanged? The readings are used as they are written.",
                receipt=int(receipt),
                line=int(here["line"].min()),
            )
        )
    return tuple(found)
