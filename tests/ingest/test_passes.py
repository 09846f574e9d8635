"""Passes from job lists, and the pass a reading belongs to."""

import numpy as np
import pandas as pd
import pytest

from ingest.readings.passes import latest_pass, passes_of

COLUMNS = ["serial", "family", "operation", "machine", "tool", "pass", "started", "ended", "note"]


def jobs(*rows: tuple[object, ...]) -> pd.DataFrame:
    table = pd.DataFrame([dict(zip(COLUMNS, row, strict=True)) for row in rows], columns=COLUMNS)
    for name in ("started", "ended"):
        table[name] = pd.to_datetime(table[name]).astype("datetime64[us]")
    return table.assign(sha="a", line=np.arange(len(table)))


def test_a_list_exported_again_after_the_job_ended_is_one_pass() -> None:
    early = ("S1", "F", "hone", "H1", None, 1, "2025-01-06 08:00", None, None)
    late = ("S1", "F", "hone", "H1", None, 1, "2025-01-06 08:00", "2025-01-06 09:00", None)
    for order in ([early, late], [late, early]):
        passes = passes_of(jobs(*order))
        assert len(passes) == 1
        assert passes["ended"].iloc[0] == pd.Timestamp("2025-01-06 09:00")


def test_jobs_without_numbers_are_numbered_by_their_start() -> None:
    rows = [
        ("S1", "F", "hone", "H2", None, None, "2025-01-08 08:00", "2025-01-08 09:00", None),
        ("S1", "F", "hone", "H1", None, None, "2025-01-06 08:00", "2025-01-06 09:00", None),
        ("S2", "F", "hone", "H1", None, None, "2025-01-07 08:00", "2025-01-07 09:00", None),
    ]
    passes = passes_of(jobs(*rows)).set_index(["serial", "machine"])["pass"]
    assert passes["S1", "H1"] == 1
    assert passes["S1", "H2"] == 2
    assert passes["S2", "H1"] == 1


@pytest.mark.parametrize(
    ("moment", "number", "machine"),
    [
        ("2025-01-06 07:59", 0, None),
        ("2025-01-06 08:00", 1, "H1"),
        ("2025-01-07 12:00", 1, "H1"),
        ("2025-01-08 08:30", 2, "H2"),
    ],
)
def test_a_reading_belongs_to_the_latest_pass_begun(moment: str, number: int, machine: str | None) -> None:
    passes = passes_of(
        jobs(
            ("S1", "F", "hone", "H1", None, 1, "2025-01-06 08:00", "2025-01-06 09:00", None),
            ("S1", "F", "hone", "H2", None, 2, "2025-01-08 08:00", "2025-01-08 09:00", None),
            ("S2", "F", "hone", "H9", None, 1, "2025-01-01 08:00", "2025-01-01 09:00", None),
        )
    )
    reading = pd.DataFrame(
        {"serial": ["S1"], "operation": ["hone"], "machine": ["H1"], "when": [pd.Timestamp(moment)]}
    )
    found = latest_pass(reading, passes, on_machine=False).iloc[0]
    assert (found["pass"], found["pass_machine"]) == (number, machine)
    here = latest_pass(reading, passes, on_machine=True).iloc[0]
    assert here["pass"] == min(number, 1)
