"""Gauges that show the same number again and again: did every part measure alike, or was the gauge stuck?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from ingest.answers.processes import Question

STUCK_RUN = 15
"""Equal readings one after another before anybody is asked. Common practice, no source."""


def stuck_questions(
    rows: pd.DataFrame, features: tuple[str, ...], names: dict[str, str]
) -> tuple[Question, ...]:
    """Files in which one feature reads the same, to the last digit, at least fifteen times in a row.

    The readings count: a coarse gauge on good parts does the same. But a gauge that hangs hides whatever the
    parts are, so a person is asked, with the first line of the run.

    Parameters
    ----------
    rows : DataFrame
        receipt, line, col, feat, gauge, raw, role.
    features : tuple of str
        Keys that `feat` stands for.
    names : dict of str to str
        Name of each feature.

    Returns
    -------
    tuple of Question
        One per file, feature and gauge, of its longest run.
    """
    ask = rows.loc[
        (rows["role"] == "readings") & (rows["feat"] >= 0), ["receipt", "line", "col", "feat", "gauge", "raw"]
    ]
    if len(ask) < STUCK_RUN:
        return ()
    codes = {
        c: pd.factorize(ask[c], use_na_sentinel=False)[0] for c in ("receipt", "feat", "gauge", "raw", "col")
    }
    order = np.lexsort(
        (codes["col"], ask["line"].to_numpy(), codes["gauge"], codes["feat"], codes["receipt"])
    )
    same = np.ones(max(len(ask) - 1, 0), dtype=bool)
    for c in ("receipt", "feat", "gauge", "raw"):
        same &= np.diff(codes[c][order]) == 0
    starts = np.flatnonzero(np.r_[True, ~same])
    lengths = np.diff(np.r_[starts, len(ask)])
    longest: dict[tuple[int, int, int], tuple[int, int]] = {}
    for start, length in zip(starts.tolist(), lengths.tolist(), strict=True):
        if length >= STUCK_RUN:
            at = order[start]
            key = (int(codes["receipt"][at]), int(codes["feat"][at]), int(codes["gauge"][at]))
            if length > longest.get(key, (0, 0))[0]:
                longest[key] = (length, int(at))
    found = []
    for length, at in longest.values():
        first = ask.iloc[at]
        feature = features[int(first["feat"])]
        gauge = first["gauge"] if isinstance(first["gauge"], str) else "The gauge"
        found.append(
            Question(
                "stuck_gauge",
                f"{gauge} showed {first['raw']} for {names.get(feature) or feature} {length} times in a row: was it "
                "stuck? The readings count as they are written.",
                receipt=int(first["receipt"]),
                line=int(first["line"]),
            )
        )
    return tuple(found)
