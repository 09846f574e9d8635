"""Why a stored reading does not count for now, and what to do: one sentence each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ingest.plans.model import Plan
from ingest.plans.places import place_text

_WAITING = {
    "no_family": (
        "No row, job list, serial pattern, master size or layout says which family {serial} belongs to.",
        "It is used as soon as a job list names the family of this serial.",
    ),
    "family_conflict": (
        "Two sources disagree on the family of {serial}.",
        "Correct the family in the job list or in the export and take the corrected file in.",
    ),
    "no_machine": (
        "Nothing says on which machine {serial} went through {op}.",
        "It is used as soon as the job list has this serial and operation.",
    ),
    "machine_conflict": (
        "The machine this reading speaks for is not the one the job list gives {serial} for {op}.",
        "Correct the job list or the machine of the export and take the corrected file in.",
    ),
    "no_master": (
        "Nothing says which master this check was made on.",
        "Give the master in the export or in the layout.",
    ),
    "no_gauge": ("Nothing says which gauge was checked.", "Give the gauge in the export or in the layout."),
}

_DOUBT = {
    "unknown_feature": (
        "The plan has no feature {feature}.",
        "Add the feature to the plan, or correct the layout.",
    ),
    "unknown_position": (
        "A part of family {family} has no position {position} for {feature}.",
        "Check the place in the export against the family of {serial}.",
    ),
    "machine_cannot": (
        "{on} does not do {op}, says the plan.",
        "Correct the machine in the job list, or add the operation to the machine in the plan.",
    ),
    "implausible": (
        "{raw} {raw_unit} is farther from the target of {feature} than the plan believes possible{scale}.",
        "Read the part again, or release the row if the value is right.",
    ),
    "other_family": (
        "{raw} {raw_unit} is beyond belief for {family}, but within the limits of {hint}.",
        "Check the serial and the family of {serial}: correct the one that is wrong, or release the row.",
    ),
    "unit_scale": (
        "{raw} {raw_unit} is far below the smallest step of {gauge}: its unit is probably wrong.",
        "Correct the unit in the layout or the file (inch for thou makes a factor of 1000), then take it in.",
    ),
    "sign_mirror": (
        "All parts of {operator} that day lie out of limits, and within them with the sign turned round.",
        "Check the sign the gauge was set to; release the rows if the parts really are out.",
    ),
    "unknown_serial": (
        "{serial} is not a serial of this shop{suggestion}.",
        "Correct the serial in the file and take it in, or release the row if the serial is right.",
    ),
}

REJECTED = ("A person has rejected this reading.", "Take the decision back in the log to use it again.")

WAITING = frozenset(_WAITING)
"""Readings that lack an answer: no word of a person makes them countable, only the answer does."""
RELEASES_ITSELF = frozenset({"no_family", "no_machine", "family_conflict", "machine_conflict"})


def explain(plan: Plan, row: Mapping[Any, Any]) -> tuple[str, str]:
    """Reason and remedy for a held reading; ("", "") for one that counts.

    Parameters
    ----------
    plan : Plan
    row : mapping
        A row of `ingest.readings.resolve.Resolved.readings` with `family` as resolved.
    """
    kind = row["kind"]
    if kind == "rejected":
        return REJECTED
    pair = _WAITING.get(kind) or _DOUBT.get(kind)
    if pair is None:
        return "", ""
    hint = row.get("hint")
    words = {
        "serial": row.get("serial") or "this part",
        "op": _name(plan.operations, row.get("op")),
        "on": _name(plan.machines, row.get("on")),
        "feature": _name(plan.features, row.get("feature")),
        "family": _name(plan.families, row.get("family_key")),
        "gauge": _name(plan.gauges, row.get("gauge")),
        "operator": row.get("operator") or "one operator",
        "position": place_text(plan, row.get("position") or "") or "(none)",
        "raw": row.get("raw"),
        "raw_unit": row.get("raw_unit"),
        "hint": hint or "another family",
        "scale": f"; times {hint} it would fit, so the unit may be wrong" if hint else "",
        "suggestion": f"; it probably means {hint}" if hint else "",
    }
    return pair[0].format(**words), pair[1].format(**words)


def _name(entries: Mapping[str, Any], key: str | None) -> str:
    entry = entries.get(key) if key is not None else None
    return entry.name if entry is not None and entry.name else str(key or "an unknown one")
