"""`tenthwise backtest`: every finished set of stones or cutters forecast again, against what came."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from dashboard.words.amounts import count
from dashboard.work.shop_work import GOOD, Outcome
from ingest.answers.wear import BacktestView

if TYPE_CHECKING:
    from ingest.shop.shop import Shop

HEAD = (
    "What was forecast of every finished set from what was measured by then, against what came.\n"
    "Held: the end lay where 8 of 10 should. Off by: mean of what came less what was expected."
)


def record(done: BacktestView, log: bool) -> dict[str, Any]:
    """One process as plain values.

    Returns
    -------
    dict
        process, unit, untold (finished sets without a forecast), coverage: list of {share, held, of, bias}, bias in
        natural logs for a feature kept so (`log`), else in the base unit; limits: {held, of}; lives: list of {tool,
        share, uses, expected {p10, p50, p90}, came, left {p10, p50, p90}, left_came}.
    """
    return {
        "process": done.process,
        "unit": done.unit,
        "log": log,
        "untold": done.untold,
        "coverage": [
            {"share": share, "held": held, "of": of, "bias": round(bias, 6) if of else None}
            for share, held, of, bias in done.held
        ],
        "limits": {"held": done.left_held[0], "of": done.left_held[1]},
        "lives": [
            {
                "tool": one.tool,
                "share": one.share,
                "uses": one.now,
                "expected": dict(zip(("p10", "p50", "p90"), (round(v, 6) for v in one.value), strict=True)),
                "came": round(one.came, 6),
                "left": dict(
                    zip(
                        ("p10", "p50", "p90"),
                        (v if v is None else round(v, 1) for v in one.left),
                        strict=True,
                    )
                ),
                "left_came": None if one.left_came is None else round(one.left_came, 1),
            }
            for one in done.tried
        ],
    }


def backtest(shop: Shop, *, json_wanted: bool) -> Outcome:
    """All processes of the shop whose tool's life is counted."""
    found = []
    for row in sorted(shop.board(), key=lambda r: r.process):
        done = shop.wear_backtest(row.process) if row.left is not None else None
        if done is not None:
            found.append((row, done))
    if json_wanted:
        return Outcome(json.dumps([record(done, row.log) for row, done in found], ensure_ascii=False), GOOD)
    if not found:
        return Outcome("The plan counts the life of no tool that has been measured.", GOOD)
    lines = [HEAD]
    for row, done in found:
        lines.append(f"\n{row.process}")
        if not done.tried:
            lines.append(f"  nothing to compare yet: {count(done.untold, 'finished set')}")
            continue
        for share, held, of, bias in done.held:
            off = f"{100 * bias:+.1f} %" if row.log else f"{bias:+.2f} µm"
            lines.append(f"  {share:4.0%} of the life done: held {held:3d} of {of:3d}, off by {off}")
        held, of = done.left_held
        lines.append(
            f"  a limit was reached in {of} of these forecasts, within its range in {held}"
            if of
            else "  no finished set reached a limit"
        )
        if done.untold:
            lines.append(f"  {count(done.untold, 'finished set')} without a forecast: too few before")
    return Outcome("\n".join(lines), GOOD)
