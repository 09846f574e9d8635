"""Which gauge is in doubt, going by the checks and audits of all gauges together; and what an audit is called."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from ingest.answers.processes import DoubtFact
from ingest.assessing.assessment import ProcessState
from ingest.plans.model import Plan

Doubts = Mapping[str, tuple[DoubtFact, int]]
"""By gauge: what puts it in doubt, and from when. [microseconds since 1970, UTC]"""


def is_audit(plan: Plan, machine: str, operation: str) -> bool:
    """Whether a process is one of differences between two gauges and not of parts a machine made."""
    return machine in plan.gauges and operation in plan.gauges


def names_of(plan: Plan, machine: str, operation: str, feature: str) -> tuple[str, str, str]:
    """Names of machine, operation and feature of a process as people see them.

    Parameters
    ----------
    plan : Plan
    machine, operation, feature : str
        Plan keys; of an audit the two gauges and what they measured.
    """
    name = plan.features[feature].name
    if not is_audit(plan, machine, operation):
        entry = plan.gauges.get(machine) or plan.machines.get(machine)
        if plan.features[feature].kind != "check":
            entry = plan.machines.get(machine)
        return entry.name if entry is not None else machine, plan.operations[operation].name, name
    other = plan.gauges[operation].name or operation
    other = other if operation.lower() in other.lower().split() else f"{operation} {other}"
    return plan.gauges[machine].name, "audit", f"{name} against {other}"


def gauges_in_doubt(plan: Plan, states: Mapping[str, ProcessState]) -> dict[str, tuple[DoubtFact, int]]:
    """The gauges that cannot be trusted, each with the earliest reason.

    Parameters
    ----------
    plan : Plan
    states : mapping of process to ProcessState

    Returns
    -------
    dict
        A gauge whose own checks went off is in doubt. Two gauges that drifted apart leave open which of them it
        was: it is the one whose own checks went off; else the one that measured again, when it drifted apart
        from two gauges or more in the same direction while their own checks held; else the one that judges parts,
        as that is the careful side.
    """
    found: dict[str, tuple[DoubtFact, int]] = {}
    audits: list[ProcessState] = []
    for state in states.values():
        if state.doubt is None:
            continue
        if is_audit(plan, state.machine, state.operation):
            audits.append(state)
        else:
            _earliest(found, state.machine, (state.doubt, state.doubt_from))
    own = set(found)
    for state in audits:
        assert state.doubt is not None
        gauge = state.machine
        if state.machine not in own and (state.operation in own or _all_alike(state, audits, own)):
            gauge = state.operation
        fact = replace(state.doubt, gauge=gauge, gauge_name=plan.gauges[gauge].name)
        _earliest(found, gauge, (fact, state.doubt_from))
    return found


def _earliest(found: dict[str, tuple[DoubtFact, int]], gauge: str, doubt: tuple[DoubtFact, int]) -> None:
    if gauge not in found or doubt[1] < found[gauge][1]:
        found[gauge] = doubt


def _all_alike(state: ProcessState, audits: list[ProcessState], own: set[str]) -> bool:
    """Whether the reference of this audit moved against several sound gauges, each time the same way."""
    same = [a for a in audits if a.operation == state.operation and a.machine not in own]
    gauges = {a.machine for a in same}
    ways = {s.direction for a in same for s in a.signals if s.monitor == "level" and s.status == "open"}
    return len(gauges) > 1 and len(ways) == 1
