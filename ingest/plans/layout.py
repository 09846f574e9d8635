"""The part of a plan that says how an export looks: its columns and what each means."""

from __future__ import annotations

import re
from functools import cached_property
from typing import Annotated, Literal, get_args

from pydantic import BeforeValidator, Field

from ingest.plans.types import Entry, OneOrMore, Pattern, Texts, Unit, _tuple

Role = Literal["readings", "audit", "checks", "study", "jobs", "events"]

ColumnMeaning = Literal[
    "sequence", "time", "date", "clock", "serial", "place", "value", "set_size", "gauge", "operator",
    "part_temperature", "gauge_temperature", "tool", "family", "machine", "operation", "pass", "stage",
    "started", "ended", "note", "kind", "cost", "down_hours", "target", "master", "unit", "feature", "ignore",
]  # fmt: skip


class Column(Entry):
    """One column of an export. A text column may mean several things: the part and its family, say."""

    name: str = Field(min_length=1)
    meanings: Annotated[tuple[ColumnMeaning, ...], BeforeValidator(lambda v: _meanings(v))] = Field(
        alias="is"
    )
    aliases: Texts = ()
    optional: bool = False
    form: OneOrMore = ()
    unit: Unit | None = None
    measures: Literal["absolute", "deviation", "difference"] = "absolute"
    sign: Literal[1, -1] = 1
    feature: str | None = None
    at: dict[str, str] = Field(default_factory=dict)

    @property
    def meaning(self) -> ColumnMeaning:
        """What the column means; the first thing where it means several."""
        return self.meanings[0]


class Place(Entry):
    """A way to write a position, and the feature that each value column measures there.

    ``features`` may be left out when the row itself names the feature.
    """

    pattern: Pattern
    features: dict[str, str] = Field(default_factory=dict)

    @cached_property
    def regex(self) -> re.Pattern[str]:
        """The pattern, compiled; it must match the whole place."""
        return re.compile(self.pattern, re.IGNORECASE)


class Layout(Entry):
    """How one kind of export looks.

    Attributes
    ----------
    time : "received" or None
        The file does not say when: its rows count as measured when it was received, in the order of lines.
    number_rows : str or None
        Axis whose value is the number of a row among those of its part, place and feature in the file.
    """

    key: str
    role: Role
    description: str = ""
    separator: Annotated[tuple[str, ...], BeforeValidator(lambda v: _separators(v))] = (",",)
    decimal: Literal[".", ",", "either"] = "."
    time: Literal["received"] | None = None
    number_rows: str | None = None
    gauge: str | None = None
    machine: str | None = None
    family: str | None = None
    operation: str | None = None
    master: str | None = None
    stage: str | None = None
    unit_from_preamble: bool = False
    overload: Texts = ()
    columns: Annotated[tuple[Column, ...], BeforeValidator(_tuple)]
    places: Annotated[tuple[Place, ...], BeforeValidator(_tuple)] = ()

    def having(self, *meanings: str) -> tuple[Column, ...]:
        """Columns with one of these meanings, in column order."""
        return tuple(c for c in self.columns if not set(c.meanings).isdisjoint(meanings))

    def only(self, meaning: str) -> Column | None:
        """The one column with this meaning, if the layout has it."""
        found = self.having(meaning)
        return found[0] if found else None


SEPARATORS = {",": ",", ";": ";", "|": "|", "tab": "\t", "\t": "\t", "spaces": " "}


def _separators(given: object) -> object:
    texts = (given,) if isinstance(given, str) else given
    if not isinstance(texts, list | tuple) or not texts or not all(t in SEPARATORS for t in texts):
        raise ValueError('use ",", ";", "tab", "|" or "spaces", or a list of them')
    return tuple(SEPARATORS[t] for t in texts)


def _meanings(given: object) -> object:
    texts = (given,) if isinstance(given, str) else given
    legal = get_args(ColumnMeaning)
    if not isinstance(texts, list | tuple) or not texts or not all(t in legal for t in texts):
        raise ValueError(f"use one of these, or a list of them: {', '.join(map(repr, legal))}")
    return tuple(texts)
