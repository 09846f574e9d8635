"""Reading a plan: TOML text in, a checked `Plan` out, or every problem with its line."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from ingest.plans import model
from ingest.plans.check import check
from ingest.plans.findings import Finding
from ingest.plans.layout import Column, Layout, Place
from ingest.plans.lines import key_lines, line_of
from ingest.plans.types import Entry
from ingest.problems import PlanError, Problem

KEYED = (
    "families",
    "operations",
    "machines",
    "materials",
    "gauges",
    "masters",
    "features",
    "events",
    "layouts",
)
_INHERITED = ("operation", "unit", "display", "decimals", "kind", "scale", "daily_setting")

_TABLES: dict[str, type[Entry]] = {
    "shop": model.Shop, "demonstration": model.Demonstration, "families": model.Family,
    "operations": model.Operation, "machines": model.Machine, "materials": model.Material, "gauges": model.Gauge,
    "masters": model.Master, "features": model.Feature, "specifications": model.Specification,
    "renewals": model.Renewal, "events": model.EventKind, "costs": model.Costs, "layouts": Layout,
}  # fmt: skip
_INNER: dict[str, type[Entry]] = {"closed": model.Closure, "columns": Column, "places": Place}


def load_plan(path: Path) -> model.Plan:
    """Read and check the plan in a file.

    Raises
    ------
    PlanError
        The file cannot be read, is not UTF-8 or TOML, or something in it is wrong.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        reason = f"the plan cannot be read: {error.strerror}."
        raise PlanError([_bare(path.name, None, "unreadable", reason, "Check the path.")]) from None
    return parse_plan(decode_plan(data, path.name), path.name)


def decode_plan(data: bytes, name: str) -> str:
    """Text of a plan file, a byte order mark removed.

    Raises
    ------
    PlanError
        The bytes are not UTF-8; the first line that is not is named.
    """
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        reason = "the plan is not saved as UTF-8: this line holds a character in another encoding."
        remedy = "Open it in an editor, choose 'Save as', encoding UTF-8, and try again."
        raise PlanError([_bare(name, line, "not_utf8", reason, remedy)]) from None


def parse_plan(text: str, name: str) -> model.Plan:
    """Read and check a plan given as text.

    Parameters
    ----------
    text : str
        TOML; a leading byte order mark is passed over.
    name : str
        Name for messages, normally the file's.

    Returns
    -------
    plan : Plan
        Derived features completed from the features they are made of.

    Raises
    ------
    PlanError
        With every problem found, each with line, key, what is wrong and what is legal.
    """
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        match = re.search(r"\(at (?:line (\d+)|end of document)", str(error))
        line = int(match.group(1)) if match and match.group(1) else text.count("\n") + 1
        what = str(error).split(" (at ")[0]
        reason = f"this line cannot be read: {what[:1].lower()}{what[1:]}."
        remedy = "Check quotes, brackets and equals signs here and on the line above."
        raise PlanError([_bare(name, line, "toml", reason, remedy)]) from None
    lines = key_lines(text)
    findings = _with_keys(data)
    plan: model.Plan | None = None
    if not findings:
        _complete_derived(data)
        digest = hashlib.sha256(text.encode()).hexdigest()
        try:
            plan = model.Plan.model_validate(data | {"name": name, "text": text, "sha256": digest})
        except ValidationError as error:
            told = [_finding(details) for details in error.errors()]
            findings = [f for f in told if not _taken_over(f, lines)] or told
        else:
            findings = check(plan)
    if findings or plan is None:
        raise PlanError([_problem(f, name, lines, data) for f in findings])
    return plan


def _bare(name: str, line: int | None, kind: str, reason: str, remedy: str) -> Problem:
    return Problem(name, line, None, kind, "", reason, remedy)


def _problem(finding: Finding, name: str, lines: dict, data: Mapping[str, Any]) -> Problem:
    given: Any = data
    try:
        for part in finding.path:
            given = given[part]
    except (KeyError, IndexError, TypeError):
        given = ""
    shown = given if isinstance(given, str | int | float | bool) else ""
    column = ".".join(f"{p + 1}" if isinstance(p, int) else str(p) for p in finding.path)
    line = line_of(lines, finding.path)
    return Problem(name, line, column, "plan", str(shown), finding.reason, finding.remedy)


def _with_keys(data: dict[str, Any]) -> list[Finding]:
    """Give each table of the closed lists its own key; complain about things that are not tables."""
    findings = []
    for word in ("name", "text", "sha256"):
        if word in data:
            findings.append(
                Finding((word,), f"'{word}' stands outside any table.", "Put it under its table.")
            )
    for section in KEYED:
        entries = data.get(section, {})
        if not isinstance(entries, dict):
            findings.append(Finding((section,), f"[{section}] must hold tables.", f"Write [{section}.NAME]."))
            continue
        for key, entry in entries.items():
            if not isinstance(entry, dict):
                reason = f"'{key}' under [{section}] must be a table of its own."
                findings.append(Finding((section, key), reason, f"Write [{section}.{key}]."))
            elif "key" in entry:
                reason = "'key' is not a key here: the name in the brackets is the key."
                findings.append(Finding((section, key, "key"), reason, "Remove the line."))
            else:
                entry["key"] = key
    return findings


def _complete_derived(data: dict[str, Any]) -> None:
    """Let derived features take what they do not say from the feature they are made of."""
    features = data.get("features", {})
    for entry in features.values():
        source = features.get(entry.get("of"))
        if "derive" in entry and source is not None:
            for word in _INHERITED:
                if word in source:
                    entry.setdefault(word, source[word])
            if entry["derive"] == "range":
                entry["monitor"] = False


def _taken_over(finding: Finding, lines: Mapping) -> bool:
    """Whether a derived feature only repeats a fault of the feature it is made of."""
    path = finding.path
    return len(path) == 3 and path[0] == "features" and path[2] in _INHERITED and path not in lines


def _model_at(path: tuple[str | int, ...]) -> type[BaseModel] | None:
    """The kind of entry whose keys stand at a path, to list what would have been legal."""
    names = [p for p in path if isinstance(p, str)]
    if not names:
        return model.Plan
    found: type[BaseModel] | None = _TABLES.get(names[0])
    for name in names[1:]:
        found = _INNER.get(name, found)
    return found


def _legal_keys(path: tuple[str | int, ...]) -> str:
    entry = _model_at(path)
    if entry is None:
        return ""
    names = [field.alias or name for name, field in entry.model_fields.items()]
    return ", ".join(sorted(set(names) - {"key", "name" if entry is model.Plan else "key", "text", "sha256"}))


def _finding(details: ErrorDetails) -> Finding:
    """A validation error in the words of the person who writes plans."""
    path = tuple(details["loc"])
    kind, context = details["type"], details.get("ctx", {})
    last = str(path[-1]) if path else ""
    if kind == "extra_forbidden":
        where = f"[{'.'.join(str(p) for p in path[:-1])}]" if len(path) > 1 else "the top of the plan"
        return Finding(path, f"'{last}' is not a key of {where}.", f"Legal: {_legal_keys(path[:-1])}.")
    if kind == "missing":
        holder = ".".join(str(p + 1) if isinstance(p, int) else p for p in path[:-1]) or "the plan"
        return Finding(path, f"'{last}' is missing in {holder}.", f"Add a line: {last} = ...")
    if kind == "literal_error":
        given = _shown(details)
        return Finding(path, f"{given} is not legal for '{last}'.", f"Legal: {context.get('expected', '')}.")
    if kind == "value_error":
        message = str(context.get("error", details["msg"]))
        return Finding(path, f"{_shown(details)} is wrong for '{last}'.", _sentence(message))
    wanted = {
        "string_type": "a text between quotes", "float_type": "a number", "int_type": "a whole number",
        "bool_type": "true or false", "date_type": "a date such as 2024-01-31, without quotes",
        "datetime_type": "a date and time such as 2024-01-31T07:00:00, without quotes",
        "tuple_type": 'a list such as ["a", "b"]', "dict_type": "a table",
        "model_type": "a table", "model_attributes_type": "a table",
    }.get(kind)  # fmt: skip
    remedy = f"Write {wanted}." if wanted else _sentence(details["msg"])
    return Finding(path, f"{_shown(details)} is wrong for '{last}'.", remedy)


def _shown(details: ErrorDetails) -> str:
    given = details.get("input")
    return repr(given) if isinstance(given, str | int | float | bool) else "what is given"


def _sentence(text: str) -> str:
    text = text.strip().rstrip(".")
    return f"{text[:1].upper()}{text[1:]}."
