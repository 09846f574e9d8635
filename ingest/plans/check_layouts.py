"""Whether the layouts of a plan can be read without guessing."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator

from ingest.plans.findings import Finding, listed
from ingest.plans.lines import Path
from ingest.plans.model import Column, Feature, Layout, Plan
from ingest.plans.time_forms import FormError, compile_form
from spc.units import dimension

SINGLE = (
    "sequence", "time", "date", "clock", "set_size", "gauge", "operator", "part_temperature",
    "gauge_temperature", "tool", "family", "machine", "operation", "pass", "stage", "started", "ended",
    "note", "kind", "cost", "down_hours", "target", "master", "unit", "feature",
)  # fmt: skip
NEEDS_FORM = ("time", "date", "clock", "started", "ended")
SHARED = (
    "sequence", "serial", "place", "gauge", "operator", "tool", "family", "machine", "operation", "pass",
    "stage", "note", "master", "feature",
)  # fmt: skip
"""What a column may mean beside something else: texts that are read as they stand."""
TAKES_UNIT = {"value": None, "set_size": "length", "part_temperature": "temperature",
              "gauge_temperature": "temperature"}  # fmt: skip


def fold_name(name: str) -> str:
    """A column name as compared: case, outer blanks and runs of blanks do not matter."""
    return re.sub(r"\s+", " ", name.strip()).casefold()


def check_layouts(plan: Plan) -> Iterator[Finding]:
    """Every finding about layouts."""
    for key, layout in plan.layouts.items():
        at: Path = ("layouts", key)
        yield from _fixed(plan, at, layout)
        yield from _columns(plan, at, layout)
        yield from _role(at, layout)
        yield from _places(plan, at, layout)
        yield from _numbers(plan, at, layout)
        yield from _blanks(at, layout)
        if layout.decimal != "." and "," in layout.separator and layout.decimal == ",":
            reason = "comma cannot be both separator and decimal sign."
            yield Finding((*at, "decimal"), reason, 'Use decimal = "either" when numbers are quoted.')
    yield from _rivals(plan)


def _fixed(plan: Plan, at: Path, layout: Layout) -> Iterator[Finding]:
    for word, legal in (
        ("gauge", plan.gauges),
        ("machine", plan.machines),
        ("family", plan.families),
        ("operation", plan.operations),
        ("master", plan.masters),
    ):
        given = getattr(layout, word)
        if given is not None and given not in legal:
            yield Finding((*at, word), f"{word} '{given}' is not declared.", f"Declared: {listed(legal)}.")
    if layout.stage is not None and layout.stage != "before" and layout.stage not in plan.operations:
        reason = f"stage '{layout.stage}' is neither an operation nor \"before\"."
        yield Finding((*at, "stage"), reason, f"Operations: {listed(plan.operations)}.")


def _columns(plan: Plan, at: Path, layout: Layout) -> Iterator[Finding]:
    names = Counter(fold_name(n) for c in layout.columns for n in (c.name, *c.aliases))
    meanings = Counter(m for c in layout.columns for m in c.meanings)
    for i, column in enumerate(layout.columns):
        here: Path = (*at, "columns", i)
        if names[fold_name(column.name)] > 1:
            reason = f"two columns are named '{column.name}'."
            yield Finding((*here, "name"), reason, "Names and aliases must differ within a layout.")
        for meaning in column.meanings:
            if meaning in SINGLE and meanings[meaning] > 1:
                reason = f"only one column of a layout can be '{meaning}'."
                yield Finding((*here, "is"), reason, "Mark the others as ignore.")
            elif len(column.meanings) > 1 and meaning not in SHARED:
                reason = f"a column that is '{meaning}' can be nothing else beside it."
                yield Finding((*here, "is"), reason, f"These go together: {listed(SHARED)}.")
            elif column.meanings.count(meaning) > 1:
                yield Finding((*here, "is"), f"'{meaning}' stands there twice.", "Write it once.")
                break
        yield from _form(here, column)
        yield from _unit(here, column)
        if column.meaning != "value":
            for word in ("feature", "at"):
                if getattr(column, word):
                    yield Finding((*here, word), f"'{word}' belongs to a value column.", "Remove it.")
        else:
            yield from _value(plan, here, layout, column)


def _form(here: Path, column: Column) -> Iterator[Finding]:
    if column.meaning not in NEEDS_FORM:
        if column.form:
            yield Finding((*here, "form"), "'form' belongs to a time column.", "Remove it.")
        return
    if not column.form:
        reason = f"column '{column.name}' needs 'form': how its time is written."
        yield Finding((*here, "form"), reason, 'Write e.g. form = "%Y-%m-%d %H:%M:%S".')
    for text in column.form:
        try:
            form = compile_form(text)
        except FormError as error:
            yield Finding((*here, "form"), str(error), "Write e.g. %Y-%m-%d %H:%M:%S or %d.%m.%Y %I:%M %p.")
            continue
        needs_date = column.meaning != "clock"
        if needs_date != form.has_date:
            reason = f"'{text}' {'has no whole date' if needs_date else 'holds a date'}."
            yield Finding((*here, "form"), reason, "A date needs year, month and day; a clock none of them.")


def _unit(here: Path, column: Column) -> Iterator[Finding]:
    if column.unit is None:
        if column.meaning == "set_size":
            yield Finding((*here, "unit"), f"column '{column.name}' needs a unit.", 'Write unit = "mm".')
        return
    if column.meaning not in TAKES_UNIT:
        reason = f"'unit' does not belong to a column that is '{column.meaning}'."
        yield Finding((*here, "unit"), reason, "Remove it.")
        return
    wanted = TAKES_UNIT[column.meaning]
    if wanted is not None and dimension(column.unit) != wanted:
        yield Finding((*here, "unit"), f"'{column.unit}' is not a {wanted}.", f"Use a unit of {wanted}.")


def _value(plan: Plan, here: Path, layout: Layout, column: Column) -> Iterator[Finding]:
    if column.unit is None and not layout.unit_from_preamble and not layout.having("unit"):
        reason = f"nothing says in which unit column '{column.name}' is."
        yield Finding((*here, "unit"), reason, "Write unit = ..., or declare a unit column.")
    if column.measures == "deviation" and not layout.having("set_size", "master") and not layout.master:
        reason = "a deviation needs the size the gauge was set to: a set_size or master column."
        yield Finding((*here, "measures"), reason, 'Add one, or write measures = "difference".')
    if column.feature is not None:
        feature = plan.features.get(column.feature)
        if feature is None or feature.derive:
            measured = [k for k, f in plan.features.items() if not f.derive]
            reason = f"'{column.feature}' is not a measured feature."
            yield Finding((*here, "feature"), reason, f"Measured: {listed(measured)}.")
            return
        yield from _same_dimension((*here, "unit"), column, feature)
        places = {a for p in layout.places for a in p.regex.groupindex}
        missing = [
            a for a in feature.axes if a not in column.at and a not in places and a != layout.number_rows
        ]
        if missing:
            reason = f"column '{column.name}' does not say its {listed(missing)}."
            yield Finding((*here, "at"), reason, f"Write at = {{ {missing[0]} = ... }}.")
        for axis, value in column.at.items():
            if axis not in feature.axes:
                reason = f"'{feature.key}' has no axis '{axis}'."
                yield Finding((*here, "at"), reason, f"It has: {listed(feature.axes)}.")
            elif value not in _all_values(plan, axis):
                reason = f"no family has '{axis}' = '{value}'."
                yield Finding((*here, "at"), reason, f"Values: {listed(_all_values(plan, axis))}.")
    elif not layout.having("feature") and not any(column.name in p.features for p in layout.places):
        reason = f"nothing says which feature column '{column.name}' measures."
        yield Finding(here, reason, "Write feature = ..., or name the column under places.")


def _same_dimension(path: Path, column: Column, feature: Feature) -> Iterator[Finding]:
    if column.unit is not None and dimension(column.unit) != dimension(feature.unit):
        reason = f"'{column.unit}' does not fit '{feature.key}', whose base unit is '{feature.unit}'."
        yield Finding(path, reason, f"Use a unit of {dimension(feature.unit)}.")


def _all_values(plan: Plan, axis: str) -> set[str]:
    found = set(plan.axes.get(axis, ()))
    return found.union(*(f.axes.get(axis, ()) for f in plan.families.values()))


def _role(at: Path, layout: Layout) -> Iterator[Finding]:
    has = {m for c in layout.columns for m in c.meanings}
    timed = "time" in has or {"date", "clock"} <= has or "date" in has
    if layout.time is not None and timed:
        reason = "the layout has a time column, so its rows do not count as measured when received."
        yield Finding((*at, "time"), reason, "Remove 'time', or mark the column as ignore.")
    if layout.time is not None and layout.role not in ("readings", "audit", "study"):
        reason = f"a layout for {layout.role} needs the times of its rows."
        yield Finding((*at, "time"), reason, "Remove 'time' and add a time column.")
    timed |= layout.time is not None
    wanted: list[tuple[bool, str]] = []
    if layout.role in ("readings", "audit"):
        wanted = [(timed, "time"), ("serial" in has, "serial"), ("value" in has, "value")]
    elif layout.role == "checks":
        gauge = "gauge" in has or layout.gauge is not None
        wanted = [(timed, "time"), (gauge, "gauge"), ("value" in has, "value")]
    elif layout.role == "study":
        gauge = "gauge" in has or layout.gauge is not None
        # Two equal readings of a part are two trials only if something tells them apart.
        wanted = [("sequence" in has or "time" in has, "sequence"), (timed, "time"), (gauge, "gauge"),
                  ("serial" in has, "serial"), ("operator" in has, "operator"), ("value" in has, "value")]  # fmt: skip
    elif layout.role == "jobs":
        machine = "machine" in has or layout.machine is not None
        wanted = [
            ("serial" in has, "serial"),
            (machine, "machine"),
            (bool(has & {"started", "ended"}), "started"),
        ]
    elif layout.role == "events":
        wanted = [
            (timed, "time"),
            ("kind" in has, "kind"),
            ("target" in has or bool(layout.machine), "target"),
        ]
    for present, meaning in wanted:
        if not present:
            reason = f"a layout for {layout.role} needs a column that is '{meaning}'."
            yield Finding((*at, "columns"), reason, f'Add {{ name = "...", is = "{meaning}" }}.')
    if "time" in has and has & {"date", "clock"}:
        yield Finding((*at, "columns"), "use either one time column or date and clock.", "Remove one.")
    if "clock" in has and "date" not in has:
        yield Finding((*at, "columns"), "a clock column needs a date column.", "Add the date column.")


def _places(plan: Plan, at: Path, layout: Layout) -> Iterator[Finding]:
    values = {c.name for c in layout.having("value")}
    if layout.having("place") and not layout.places:
        reason = "the layout has a place column but no 'places' to read it by."
        yield Finding((*at, "places"), reason, "Write places = [ { pattern = '...', features = { ... } } ].")
    for i, place in enumerate(layout.places):
        here: Path = (*at, "places", i)
        named = layout.having("feature") or all(c.feature for c in layout.having("value"))
        if not place.features and not named:
            reason = "a place must say which feature each value column measures there."
            yield Finding(here, reason, 'Write features = { column = "feature" }.')
        for name, key in place.features.items():
            if name not in values:
                reason = f"'{name}' is not a value column of this layout."
                yield Finding((*here, "features", name), reason, f"Value columns: {listed(values)}.")
                continue
            feature = plan.features.get(key)
            if feature is None or feature.derive:
                measured = [k for k, f in plan.features.items() if not f.derive]
                reason = f"'{key}' is not a measured feature."
                yield Finding((*here, "features", name), reason, f"Measured: {listed(measured)}.")
                continue
            column = next(c for c in layout.columns if c.name == name)
            yield from _same_dimension((*here, "features", name), column, feature)
            axes = set(place.regex.groupindex) | set(column.at)
            missing = [a for a in feature.axes if a not in axes and a != layout.number_rows]
            if missing:
                reason = f"the pattern does not give the {listed(missing)} of '{key}'."
                yield Finding((*here, "pattern"), reason, f"Add a group (?P<{missing[0]}>...).")
            extra = [a for a in axes if a not in feature.axes]
            if extra:
                reason = f"'{key}' has no {listed(extra)}."
                yield Finding((*here, "pattern"), reason, f"It has: {listed(feature.axes)}.")


def _numbers(plan: Plan, at: Path, layout: Layout) -> Iterator[Finding]:
    """What `number_rows` names must be an axis that a measured feature has and nothing else gives."""
    axis = layout.number_rows
    if axis is None:
        return
    here: Path = (*at, "number_rows")
    keys = {c.feature for c in layout.columns} | {k for p in layout.places for k in p.features.values()}
    if layout.having("feature"):
        keys |= set(plan.features)
    features = [plan.features[k] for k in keys if k in plan.features]
    if not any(axis in f.axes for f in features):
        axes = {a for f in features for a in f.axes}
        reason = f"no feature that the layout measures has the axis '{axis}'."
        yield Finding(here, reason, f"Its features have: {listed(axes)}.")
    given = {a for p in layout.places for a in p.regex.groupindex} | {a for c in layout.columns for a in c.at}
    if axis in given:
        reason = f"'{axis}' is given by a place or column already."
        yield Finding(here, reason, "Remove 'number_rows', or take the axis out of the place.")


def _blanks(at: Path, layout: Layout) -> Iterator[Finding]:
    """Where blanks separate columns a name cannot hold one."""
    if " " not in layout.separator:
        return
    for i, column in enumerate(layout.columns):
        for name in (column.name, *column.aliases):
            if re.search(r"\s", name.strip()):
                reason = f"blanks separate the columns, and '{name}' holds one."
                remedy = "Split the name into the columns it is, or use another separator."
                yield Finding((*at, "columns", i, "name"), reason, remedy)


def _rivals(plan: Plan) -> Iterator[Finding]:
    """Two layouts that would both claim a file with the same header."""
    claimed: list[tuple[str, Layout]] = []
    for key, layout in plan.layouts.items():
        for other, rival in claimed:
            if set(layout.separator) & set(rival.separator) and _could_match(layout, rival):
                reason = f"a file could match this layout and '{other}' alike."
                yield Finding(("layouts", key), reason, "Change a column name, or keep one of the two.")
        claimed.append((key, layout))


def _could_match(one: Layout, two: Layout) -> bool:
    """Whether some header satisfies both: each column one demands is known to the other."""

    def names(column: Column) -> set[str]:
        return {fold_name(n) for n in (column.name, *column.aliases)}

    def covered(mine: Layout, other: Layout) -> bool:
        known = set().union(*(names(c) for c in other.columns))
        return all(c.optional or names(c) & known for c in mine.columns)

    return covered(one, two) and covered(two, one)
