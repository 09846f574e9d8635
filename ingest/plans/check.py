"""Whether the parts of a plan fit together: every name used is declared, every limit is possible.

Each check yields findings; none stops the others, so that one look at the messages mends the plan.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from ingest.plans.check_layouts import check_layouts
from ingest.plans.findings import Finding, listed
from ingest.plans.lines import Path
from ingest.plans.model import Costs, Feature, Plan, Quantity, Specification
from spc.units import dimension


def check(plan: Plan) -> list[Finding]:
    """Everything in the plan that does not fit together, in no special order."""
    parts = (_shop, _machines, _gauges, _features, _derived, _specifications, _renewals, _events, _costs)
    return [finding for part in parts for finding in part(plan)] + list(check_layouts(plan))


def _unknown(path: Path, what: str, given: str, legal: Iterable[str]) -> Finding:
    return Finding(path, f"{what} '{given}' is not declared.", f"Declared: {listed(legal)}.")


def _shop(plan: Plan) -> Iterator[Finding]:
    shop = plan.shop
    try:
        ZoneInfo(shop.time_zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        reason = f"'{shop.time_zone}' is not a time zone."
        yield Finding(("shop", "time_zone"), reason, 'Write Continent/City, e.g. "Europe/London".')
    if shop.closes <= shop.opens:
        yield Finding(("shop", "closes"), "the shop closes before it opens.", "Write a time after 'opens'.")
    for i, closure in enumerate(shop.closed):
        if closure.to < closure.from_:
            yield Finding(("shop", "closed", i), "'to' lies before 'from'.", "Put the earlier day in 'from'.")
    if not shop.working_days:
        yield Finding(("shop", "working_days"), "no day is a working day.", 'Write e.g. ["Mon", "Tue"].')
    if plan.demonstration and plan.demonstration.now.tzinfo is not None:
        reason = "'now' must be in shop time, without an offset."
        yield Finding(("demonstration", "now"), reason, "Remove the offset or Z.")


def _machines(plan: Plan) -> Iterator[Finding]:
    for key, machine in plan.machines.items():
        for i, operation in enumerate(machine.operations):
            if operation not in plan.operations:
                path = ("machines", key, "operations", i)
                yield _unknown(path, "operation", operation, plan.operations)
    for key in plan.machines:
        if key in plan.gauges:
            reason = f"'{key}' is the name of a machine and of a gauge; events could not tell them apart."
            yield Finding(("gauges", key), reason, "Give one of them another name.")


def _gauges(plan: Plan) -> Iterator[Finding]:
    for key, gauge in plan.gauges.items():
        if gauge.machine is not None and gauge.machine not in plan.machines:
            yield _unknown(("gauges", key, "machine"), "machine", gauge.machine, plan.machines)
        for i, feature in enumerate(gauge.features):
            if feature not in plan.features:
                yield _unknown(("gauges", key, "features", i), "feature", feature, plan.features)
        if gauge.resolution is not None and gauge.resolution <= 0:
            yield Finding(("gauges", key, "resolution"), "a resolution must be above 0.", "Correct it.")
        if (gauge.calibrated is None) != (gauge.calibrate_months is None):
            reason = "'calibrated' and 'calibrate_months' only mean something together."
            yield Finding(("gauges", key), reason, "Give both, or neither.")
    owners = (("gauges", plan.gauges), ("masters", plan.masters))
    for section, entries in owners:
        for key, entry in entries.items():
            if entry.material and entry.material not in plan.materials:
                yield _unknown((section, key, "material"), "material", entry.material, plan.materials)
    for key, master in plan.masters.items():
        if master.size.dimension != "length":
            yield Finding(("masters", key, "size"), "the size of a master is a length.", "Use in, mm or um.")
        if key in plan.families:
            reason = f"'{key}' is the name of a master and of a family."
            yield Finding(("masters", key), reason, "Give one of them another name.")


def _features(plan: Plan) -> Iterator[Finding]:
    for key, feature in plan.features.items():
        at: Path = ("features", key)
        if feature.operation not in plan.operations:
            if feature.operation:
                yield _unknown((*at, "operation"), "operation", feature.operation, plan.operations)
            elif not (feature.derive and feature.of not in plan.features):
                reason = f"'operation' is missing in features.{key}."
                yield Finding(at, reason, f"Declared: {listed(plan.operations)}.")
        if dimension(feature.display) != dimension(feature.unit):
            reason = f"'{feature.display}' cannot show a value whose base unit is '{feature.unit}'."
            yield Finding((*at, "display"), reason, "Choose a display unit of the same kind.")
        if feature.plausible is not None and feature.plausible.dimension != dimension(feature.unit):
            reason = f"'{feature.plausible.text}' is not a {dimension(feature.unit)}."
            yield Finding((*at, "plausible"), reason, f"Use a unit that fits '{feature.unit}'.")
        for i, axis in enumerate(feature.axes):
            if axis not in plan.axes and not any(axis in f.axes for f in plan.families.values()):
                known = set(plan.axes) | {a for f in plan.families.values() for a in f.axes}
                yield _unknown((*at, "axes", i), "axis", axis, known)
    for owner, axes in [(("axes",), plan.axes)] + [
        (("families", k, "axes"), f.axes) for k, f in plan.families.items()
    ]:
        for axis, values in axes.items():
            if len(set(values)) < len(values) or not values:
                yield Finding((*owner, axis), "an axis needs values, each once.", "Correct the list.")
            if any(not v or set(v) & set("=;/") for v in (*values, axis)):
                reason = "values and names of an axis must not be empty or hold '=', ';' or '/'."
                yield Finding((*owner, axis), reason, "Use letters, digits or '-'.")


def _derived(plan: Plan) -> Iterator[Finding]:
    for key, feature in plan.features.items():
        at: Path = ("features", key)
        if feature.derive is None:
            for word in ("of", "axis", "plus", "minus", "keep"):
                if getattr(feature, word):
                    reason = f"'{word}' belongs to a derived feature."
                    yield Finding((*at, word), reason, "Add 'derive' or remove the line.")
            continue
        source = plan.features.get(feature.of or "")
        if source is None or source.derive:
            measured = [k for k, f in plan.features.items() if not f.derive]
            reason = f"a derived feature must be made of a measured one, not '{feature.of}'."
            yield Finding((*at, "of"), reason, f"Measured: {listed(measured)}.")
            continue
        yield from _derived_axes(plan, at, feature, source)


def _derived_axes(plan: Plan, at: Path, feature: Feature, source: Feature) -> Iterator[Finding]:
    has = listed(source.axes)
    if feature.derive != "range" and feature.axis not in source.axes:
        reason = f"'{source.key}' has no axis '{feature.axis}'."
        yield Finding((*at, "axis"), reason, f"It has: {has}.")
        return
    for i, axis in enumerate(feature.keep):
        if axis not in source.axes or axis == feature.axis:
            reason = f"'{axis}' cannot be kept."
            yield Finding((*at, "keep", i), reason, f"'{source.key}' has: {has}; the axis itself goes away.")
    if feature.operation != source.operation:
        reason = f"'{feature.key}' and '{source.key}' must belong to the same operation."
        yield Finding((*at, "operation"), reason, "Remove the line.")
    if feature.unit != source.unit:
        yield Finding((*at, "unit"), f"the unit is that of '{source.key}'.", "Remove the line.")
    if feature.derive != "difference":
        return
    for word, names in (("plus", feature.plus), ("minus", feature.minus)):
        if not names:
            reason = f"'{word}' is missing: the values of '{feature.axis}' on that side."
            yield Finding((*at, word), reason, 'Write e.g. ["first", "last"] or values of the axis.')
    families = list(plan.families) or [None]
    if not any(plan.positions(feature.key, f) for f in (*families, *plan.masters)):
        reason = f"no family has the values of '{feature.axis}' named in 'plus' and 'minus'."
        yield Finding((*at, "plus"), reason, "Legal: first, last, inner, or values of the axis.")
    both = set(feature.plus) & set(feature.minus)
    if both:
        yield Finding((*at, "minus"), f"{listed(both)} stands on both sides.", "Name each once.")


def _specifications(plan: Plan) -> Iterator[Finding]:
    seen: dict[tuple[str, str, object], int] = {}
    for i, spec in enumerate(plan.specifications):
        at: Path = ("specifications", i)
        feature = plan.features.get(spec.feature)
        if feature is None:
            yield _unknown((*at, "feature"), "feature", spec.feature, plan.features)
            continue
        for j, family in enumerate(spec.families):
            if family not in plan.families and family not in plan.masters:
                yield _unknown((*at, "families", j), "family", family, (*plan.families, *plan.masters))
            key = (spec.feature, family, spec.valid_from)
            if key in seen:
                reason = f"'{spec.feature}' of '{family}' from {spec.valid_from} is already specified."
                yield Finding(at, reason, f"It stands in specification {seen[key] + 1}; keep one.")
            seen[key] = i
        yield from _limits(at, spec, feature)


def _limits(at: Path, spec: Specification, feature: Feature) -> Iterator[Finding]:
    given = {w: getattr(spec, w) for w in ("lower", "target", "nominal", "upper")}
    present: dict[str, Quantity] = {w: q for w, q in given.items() if q is not None}
    if not present:
        yield Finding(at, "a specification needs a nominal, a limit or a target.", "Add one.")
    for word, quantity in present.items():
        if quantity.dimension != dimension(feature.unit):
            reason = f"'{quantity.text}' is not a {dimension(feature.unit)}."
            yield Finding((*at, word), reason, f"Use a unit that fits '{feature.unit}'.")
    if "lower" in present and "upper" in present and present["lower"] >= present["upper"]:
        reason = f"lower '{present['lower'].text}' is not below upper '{present['upper'].text}'."
        yield Finding((*at, "lower"), reason, "Swap or correct them.")
        return
    for word in ("target", "nominal"):
        low, high = present.get("lower"), present.get("upper")
        value = present.get(word)
        if value is not None and ((low is not None and value < low) or (high is not None and value > high)):
            yield Finding((*at, word), f"'{value.text}' lies outside the limits.", "Correct it.")
    if feature.shape in ("lognormal", "weibull") and any(q < 0 for q in present.values()):
        reason = f"a feature of the {feature.shape} shape cannot have a negative limit."
        yield Finding(at, reason, "Correct it, or name another shape.")
    if feature.scale == "log" and any(q < 0 for q in present.values()):
        yield Finding(at, "a feature on a log scale cannot have a negative limit.", "Correct it.")


def _renewals(plan: Plan) -> Iterator[Finding]:
    for i, renewal in enumerate(plan.renewals):
        at: Path = ("renewals", i)
        if renewal.machine not in plan.machines:
            yield _unknown((*at, "machine"), "machine", renewal.machine, plan.machines)
        for j, kind in enumerate(renewal.events):
            if kind not in plan.events:
                yield _unknown((*at, "events", j), "kind of event", kind, plan.events)
            elif plan.events[kind].effect != "renews":
                reason = f"events of kind '{kind}' do not renew anything."
                yield Finding((*at, "events", j), reason, f'Give events.{kind} effect = "renews".')
        for j, feature in enumerate(renewal.features):
            if feature not in plan.features:
                yield _unknown((*at, "features", j), "feature", feature, plan.features)
        axes = set(plan.axes) | {a for f in plan.families.values() for a in f.axes}
        if renewal.count != "part" and renewal.count not in axes:
            reason = f"'{renewal.count}' cannot be counted."
            yield Finding((*at, "count"), reason, f'Legal: "part" or an axis ({listed(axes)}).')


def _events(plan: Plan) -> Iterator[Finding]:
    for key, kind in plan.events.items():
        for i, feature in enumerate(kind.features):
            if feature not in plan.features:
                yield _unknown(("events", key, "features", i), "feature", feature, plan.features)
    for i, name in enumerate(plan.people):
        if not re.search(r"\w", name):
            yield Finding(("people", name), f"person {i + 1} has no initials.", "Write initials.")


def _doubts(key: str, costs: Costs) -> Iterator[Finding]:
    """How well the costs are known."""
    for name in ("followed_up", "amounts_within", "cure"):
        if key != "shop" and getattr(costs, name) is not None:
            yield Finding(
                ("costs", key, name), f"'{name}' holds for the whole shop.", "Write it in [costs.shop]."
            )
    if costs.followed_up is not None and not costs.followed_up > 0:
        reason = f"{costs.followed_up:g} parts followed up tell nothing of what becomes of a bad part."
        yield Finding(
            ("costs", key, "followed_up"), reason, "Write how many were followed up, or leave it out."
        )
    if costs.amounts_within is not None and not 0 <= costs.amounts_within < 1:
        reason = f"amounts cannot be off by {costs.amounts_within:g} of themselves."
        yield Finding(("costs", key, "amounts_within"), reason, "Write a share from 0 to below 1, e.g. 0.1.")
    cure = costs.cure
    if cure is not None and (len(cure) != 2 or not 0 <= cure[0] <= cure[1] <= 1):
        reason = "a share of the gap is two numbers from 0 to 1, the smaller first."
        yield Finding(("costs", key, "cure"), reason, "Write e.g. [0.8, 1.0].")


def _costs(plan: Plan) -> Iterator[Finding]:
    for key, costs in plan.costs.items():
        if key != "shop" and key not in plan.families:
            yield _unknown(("costs", key), "family", key, (*plan.families, "shop"))
        for operation, price in costs.redo.items():
            if operation not in plan.operations:
                yield _unknown(("costs", key, "redo", operation), "operation", operation, plan.operations)
            if not price > 0:
                reason = f"{price:g} is no cost of doing {operation} again."
                yield Finding(
                    ("costs", key, "redo", operation), reason, "Write an amount above 0, or leave it out."
                )
        yield from _doubts(key, costs)
        chance = costs.comeback_chance
        if chance is not None and (len(chance) != 2 or not 0 <= chance[0] <= chance[1] <= 1):
            reason = "a chance range is two numbers from 0 to 1, the smaller first."
            yield Finding(("costs", key, "comeback_chance"), reason, "Write e.g. [0.04, 0.08].")
