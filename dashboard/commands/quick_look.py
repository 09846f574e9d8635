"""One column, no shop: what `quick` prints, for people and for programs."""

from __future__ import annotations

import json as as_json
from collections.abc import Sequence
from typing import TYPE_CHECKING, get_args

from dashboard.commands.one_column import Column
from spc.capability.distribution import AnyShape
from spc.capability.quick import QuickResult, quick
from spc.charts.run_rules import BEYOND, RULES, rule_named

if TYPE_CHECKING:
    from spc.intervals import Index


def quick_look(
    read: Column,
    *,
    name: str,
    lower: float | None,
    upper: float | None,
    json: bool,
    rules: Sequence[str] = (),
    shape: str = "normal",
) -> str:
    """Limits, signals and capability of a column, as text or as one JSON object.

    Parameters
    ----------
    read : Column
        What was read.
    name : str
        Its name in the file.
    lower, upper : float, optional
        Drawing limits, in the unit of the column.
    json : bool
        One object for programs instead of text.
    rules : sequence of str
        Names of run rules to look for besides values beyond the limits; ``"all"`` for every one.
    shape : str
        How the values lie around their middle, for the capability.

    Raises
    ------
    ValueError
        Too few values, limits that are impossible, no such rule or shape, or values that it cannot hold; the text
        says which.
    """
    asked = RULES if "all" in rules else (BEYOND, *(rule_named(rule) for rule in rules))
    named = next((known for known in get_args(AnyShape) if known == shape.strip().lower()), None)
    if named is None:
        raise ValueError(f"{shape!r} is no shape: choose {', '.join(get_args(AnyShape))}.")
    result = quick(read.values, lower, upper, rules=tuple(dict.fromkeys(asked)), shape=named)
    if json:
        record = result.to_dict()
        record["warnings"] = [*result.warnings, *read.left_out]
        return as_json.dumps(record, ensure_ascii=False, allow_nan=False, indent=1)
    return _text(read, result, name)


def _index(label: str, index: Index | None) -> str:
    if index is None:
        return f"  {label:<4} not defined"
    sure = f"{100 * index.confidence:.0f} % interval {index.lower:.2f} to {index.upper:.2f}"
    return f"  {label:<4} {index.estimate:.2f}   {sure}"


def _text(read: Column, result: QuickResult, name: str) -> str:
    spread = f"sigma within {result.sigma_within:.4g}, overall {result.sigma_overall:.4g}"
    lines = [
        f"{name}: {result.n} values, {read.understood}",
        f"  mean {result.mean:.6g}, {spread}",
        f"  limits of a single value {result.lower:.6g} to {result.upper:.6g}, centre {result.center:.6g}",
    ]
    if result.signals:
        lines += [
            f"  {signal.rule}: {read.values[signal.index]:.6g} at line {read.lines[signal.index]}"
            for signal in result.signals
        ]
    else:
        lines.append("  no signal")
    if result.in_control is not None:
        lines.append(
            f"  looked for {len(result.rules)} patterns: were nothing wrong, one of them would still turn up every "
            f"{result.in_control.average:.0f} values"
        )
    if result.capability is not None:
        found = result.capability
        if result.shape != "normal":
            lines.append(f"  by the {result.shape} shape")
        pairs = (("Cp", found.cp), ("Cpk", found.cpk), ("Pp", found.pp), ("Ppk", found.ppk))
        lines += [_index(label, index) for label, index in pairs]
    lines += [f"  note: {text}" for text in (*result.warnings, *read.left_out)]
    return "\n".join(lines)
