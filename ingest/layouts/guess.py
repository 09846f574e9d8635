"""A first draft of a layout for a file that no layout knows: each column by its name, else by what stands in it.

A draft is for a person to read and change. A column that nothing is known of is passed over, with an example
beside it; a number becomes a value only where name and plan say of what, and in which unit.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime

from ingest.layouts.split import split_record
from ingest.layouts.text import read_text
from ingest.plans.check_layouts import fold_name
from ingest.plans.model import Column, Plan
from ingest.problems import Complaint
from spc.units import UnitError, parse_unit

ROWS = 200
_SEPARATORS = (",", ";", "\t", "|")
_FORMS = (
    "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M", "%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M",
    "%d/%m/%Y %H:%M:%S", "%m/%d/%Y %H:%M:%S", "%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M", "%Y-%m-%d",
)  # fmt: skip
_NUMBER = re.compile(r"[+-]?\d+([.,]\d+)?([eE][+-]?\d+)?")
_UNITS = {
    "mm": "mm",
    "thou": "thou",
    "in": "in",
    "inch": "in",
    "um": "um",
    "µm": "um",
    "uin": "uin",
    "min": "min",
}


def draft_layout(plan: Plan, data: bytes, key: str) -> str | Complaint:
    """TOML of a layout that would know the header of a file.

    Parameters
    ----------
    plan : Plan
        Its lists tell serials, gauges and people from other words; columns it declares elsewhere are taken over.
    data : bytes
        The file.
    key : str
        Name of the new layout.

    Returns
    -------
    str or Complaint
        A complaint when the file is no text or has no line of column names.
    """
    text = read_text(data)
    if isinstance(text, Complaint):
        return text
    found = _header(text.lines)
    if found is None:
        remedy = "Say which line holds the names of the columns, or export the file with them."
        return Complaint("header_unrecognised", "no line of column names was found in the file.", remedy)
    at, separator, names = found
    rows = [split_record(line, separator) for line in text.lines[at + 1 : at + 1 + ROWS] if line.strip()]
    sound = [row for row in rows if row is not None and len(row) == len(names)]
    values = [[row[i].strip() for row in sound if row[i].strip()] for i in range(len(names))]
    comma = separator != "," and any("," in v and _NUMBER.fullmatch(v) for column in values for v in column)
    taken: set[str] = set()
    columns = [_column(plan, name, seen, taken) for name, seen in zip(names, values, strict=True)]
    places = _places(plan, columns, values)
    shown = {"\t": "tab"}.get(separator, separator)
    head = [
        f"[layouts.{json.dumps(key) if not re.fullmatch(r'[A-Za-z0-9_-]+', key) else key}]",
        'role = "readings"',
    ]
    head += [f"separator = {json.dumps(shown)}", 'decimal = ","' if comma else 'decimal = "."', "columns = ["]
    body = [f"  {declared},{remark}" for declared, remark in columns]
    return "\n".join([*head, *body, "]", *places, ""])


def _header(lines: Sequence[str]) -> tuple[int, str, list[str]] | None:
    """Line, separator and names: the first line of three and more different words that the next line matches."""
    for at, line in enumerate(lines[:50]):
        for separator in _SEPARATORS:
            cells = split_record(line, separator)
            if cells is None or len(cells) < 3:
                continue
            names = [cell.strip() for cell in cells]
            words = [n for n in names if n and not _NUMBER.fullmatch(n)]
            if len(words) < len(names) or len({fold_name(n) for n in names}) < len(names):
                continue
            below = next((row for row in lines[at + 1 :] if row.strip()), "")
            if len(split_record(below, separator) or ()) == len(names):
                return at, separator, names
    return None


def _column(plan: Plan, name: str, seen: list[str], taken: set[str]) -> tuple[str, str]:
    """Declaration of one column, and a remark with an example."""
    example = f"  # for example {seen[0][:40]!r}" if seen else "  # empty in this file"
    known = _declared_elsewhere(plan, name)
    if known is not None and not (
        known.meaning != "value" and known.meaning in taken and known.meaning != "place"
    ):
        taken.add(known.meaning)
        return _declaration(known, name), example
    for meaning, fits in _tests(plan).items():
        if meaning not in taken and seen and all(fits(value) for value in seen):
            taken.add(meaning)
            return f'{{ name = {json.dumps(name)}, is = "{meaning}" }}', example
    form = next((f for f in _FORMS if seen and all(_is_time(value, f) for value in seen)), None)
    if form is not None and "time" not in taken:
        taken.add("time")
        return f'{{ name = {json.dumps(name)}, is = "time", form = "{form}" }}', example
    if seen and all(_NUMBER.fullmatch(value) for value in seen):
        return _number(plan, name, example)
    return f'{{ name = {json.dumps(name)}, is = "ignore" }}', f"{example}; say what it is, if it matters"


def _tests(plan: Plan) -> Mapping[str, Callable[[str], bool]]:
    def among(entries: Mapping) -> Callable[[str], bool]:
        words = {fold_name(k) for k in entries} | {
            fold_name(getattr(e, "name", "") or k) for k, e in entries.items()
        }
        return lambda value: fold_name(value) in words

    serial = re.compile(plan.shop.serial) if plan.shop.serial else None
    patterns = [place.regex for layout in plan.layouts.values() for place in layout.places]
    measured = {k: f for k, f in plan.features.items() if not f.derive}
    return {
        "serial": lambda value: serial is not None and serial.fullmatch(value) is not None,
        "gauge": among(plan.gauges),
        "machine": among(plan.machines),
        "family": among(plan.families),
        "operator": among(dict(plan.people)),
        "feature": among(measured),
        "unit": _is_unit,
        "place": lambda value: any(p.fullmatch(value) for p in patterns),
    }


def _is_unit(value: str) -> bool:
    try:
        parse_unit(value)
    except UnitError:
        return False
    return True


def _is_time(value: str, form: str) -> bool:
    try:
        datetime.strptime(value, form)  # noqa: DTZ007 - only whether it can be read
    except ValueError:
        return False
    return True


def _declared_elsewhere(plan: Plan, name: str) -> Column | None:
    folded = fold_name(name)
    for layout in plan.layouts.values():
        for column in layout.columns:
            if (
                folded in {fold_name(n) for n in (column.name, *column.aliases)}
                and column.meaning != "ignore"
            ):
                return column
    return None


def _declaration(column: Column, name: str) -> str:
    meanings = list(column.meanings)
    parts = [
        f"name = {json.dumps(name)}",
        f"is = {json.dumps(meanings[0] if len(meanings) == 1 else meanings)}",
    ]
    if column.form:
        parts.append(f"form = {json.dumps(list(column.form))}")
    if column.unit:
        parts.append(f"unit = {json.dumps(column.unit)}")
    if column.measures != "absolute":
        parts.append(f"measures = {json.dumps(column.measures)}")
    if column.sign != 1:
        parts.append(f"sign = {column.sign}")
    if column.feature:
        parts.append(f"feature = {json.dumps(column.feature)}")
    if column.at:
        parts.append("at = { " + ", ".join(f"{k} = {json.dumps(v)}" for k, v in column.at.items()) + " }")
    return "{ " + ", ".join(parts) + " }"


def _number(plan: Plan, name: str, example: str) -> tuple[str, str]:
    words = re.split(r"[^A-Za-zµ]+", name)
    unit = next((_UNITS[w.lower()] for w in reversed(words) if w.lower() in _UNITS), None)
    of = fold_name(name)
    feature = next(
        (
            k
            for k, f in plan.features.items()
            if not f.derive and {of} & {fold_name(k), fold_name(f.name or k)}
        ),
        None,
    )
    if unit and feature:
        return (
            f'{{ name = {json.dumps(name)}, is = "value", unit = "{unit}", feature = "{feature}" }}',
            example,
        )
    to_say = 'a number: is = "value", unit = "' + (unit or "?") + '", and the feature it measures'
    return f'{{ name = {json.dumps(name)}, is = "ignore" }}', f"{example}; {to_say}"


def _places(plan: Plan, columns: list[tuple[str, str]], values: list[list[str]]) -> list[str]:
    """Patterns of other layouts that the place column matches."""
    at = [i for i, (declared, _) in enumerate(columns) if 'is = "place"' in declared]
    if len(at) != 1:
        return []
    lines: dict[str, str] = {}
    measures = [re.search(r'name = ("[^"]*").*is = "value"', declared) for declared, _ in columns]
    names = [json.loads(m[1]) for m in measures if m]
    for layout in plan.layouts.values():
        for place in layout.places:
            if any(place.regex.fullmatch(v) for v in values[at[0]]) and place.pattern not in lines:
                kept = {n: f for n, f in place.features.items() if n in names}
                told = ", ".join(f"{json.dumps(n)} = {json.dumps(f)}" for n, f in kept.items())
                lines[place.pattern] = (
                    f"  {{ pattern = '{place.pattern}'"
                    + (f", features = {{ {told} }}" if told else "")
                    + " },"
                )
    return ["places = [", *lines.values(), "]"] if lines else []
