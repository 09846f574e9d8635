"""The plan of a shop: what it makes, on what, measured how, against which limits.

Everything here is read-only once loaded; `ingest.plans.file` reads it from TOML and checks it.
"""

from __future__ import annotations

from calendar import monthrange
from datetime import date, datetime
from functools import cached_property
from itertools import pairwise, product
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from pydantic import BeforeValidator, Field

from ingest.plans.layout import Column, Layout, Place
from ingest.plans.types import Amounts, Entry, Length, Pattern, Quantity, Texts, TimeOfDay, Unit, _tuple

__all__ = [
    "Closure", "Column", "Costs", "Demonstration", "EventKind", "Family", "Feature", "Gauge", "Layout",
    "Machine", "Master", "Material", "Operation", "Place", "Plan", "Quantity", "Renewal", "Shop", "Specification",
    "parse_position", "position_key",
]  # fmt: skip

Weekday = Literal["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
Person = Literal["machinist", "quality", "owner"]


class Closure(Entry):
    """Days on which the shop is closed, both ends included."""

    from_: date = Field(alias="from")
    to: date


class Shop(Entry):
    """The shop itself: its clock, its calendar, how many false alarms it will bear."""

    name: str
    time_zone: str
    working_days: Annotated[tuple[Weekday, ...], BeforeValidator(_tuple)] = (
        "Mon",
        "Tue",
        "Wed",
        "Thu",
        "Fri",
    )
    opens: TimeOfDay
    closes: TimeOfDay
    closed: Annotated[tuple[Closure, ...], BeforeValidator(_tuple)] = ()
    false_alarms_per_month: float = Field(default=1.0, gt=0, le=100)
    parts_per_month: float = Field(gt=0)
    serial: Pattern | None = None
    oldest_plausible: date = date(2000, 1, 1)
    future_tolerance_min: float = Field(default=10, ge=0)

    @cached_property
    def zone(self) -> ZoneInfo:
        """The time zone of the shop's clocks."""
        return ZoneInfo(self.time_zone)


class Demonstration(Entry):
    """Only in a demonstration shop: the moment at which its clock stands still (shop time)."""

    now: datetime


class Family(Entry):
    """A kind of part: fixes the positions it has and, with specifications, its sizes."""

    key: str
    name: str
    description: str = ""
    material: str = ""
    serial: Pattern | None = None
    axes: dict[str, Texts] = Field(default_factory=dict)


class Operation(Entry):
    """A step of the work."""

    key: str
    name: str
    order: int = 0


class Machine(Entry):
    """A machine and the operations it does."""

    key: str
    name: str
    operations: Texts


class Material(Entry):
    """What parts, gauges and masters are made of: how much it grows with each degree, and how sure that is. [1/K]"""

    key: str
    expansion: float = Field(gt=0, lt=1e-3)
    uncertainty: float | None = Field(default=None, ge=0, lt=1e-3)

    @property
    def doubt(self) -> float:
        """Standard uncertainty; where the plan gives none a tenth, as handbooks state none. [1/K]"""
        return self.expansion / 10 if self.uncertainty is None else self.uncertainty


class Gauge(Entry):
    """A gauge: its resolution (base unit), what it measures, the machine it is fixed on, if any, its calibration."""

    key: str
    name: str
    kind: str = ""
    resolution: Length | None = None
    machine: str | None = None
    features: Texts = ()
    material: str = ""
    calibrated: date | None = None
    calibrate_months: int | None = Field(default=None, gt=0)

    @property
    def due(self) -> date | None:
        """Day on which it must be calibrated again; None where the plan does not say."""
        if self.calibrated is None or self.calibrate_months is None:
            return None
        month = self.calibrated.month - 1 + self.calibrate_months
        year, month = self.calibrated.year + month // 12, month % 12 + 1
        return date(year, month, min(self.calibrated.day, monthrange(year, month)[1]))


class Master(Entry):
    """What gauges are checked on; plays the part of a family for check features."""

    key: str
    size: Length
    name: str = ""
    material: str = ""


class Feature(Entry):
    """What is measured. A derived feature has `derive`; what it does not say it takes from `of`.

    `shape` is the one its capability is told by. Where the plan names none, a log scale means lognormal; else `kind`
    suggests one.
    """

    key: str
    name: str
    operation: str = ""
    unit: Literal["um", "min", "degC"] = "um"
    display: Unit = "um"
    decimals: int = Field(default=1, ge=0, le=6)
    axes: Texts = ()
    kind: Literal["size", "height", "form", "finish", "time", "check"] = "size"
    scale: Literal["linear", "log"] = "linear"
    shape: Literal["normal", "lognormal", "folded normal", "weibull", "johnson"] | None = None
    daily_setting: bool | None = None
    plausible: Length | None = None
    monitor: bool = True
    derive: Literal["difference", "steps", "range"] | None = None
    of: str | None = None
    axis: str | None = None
    plus: Texts = ()
    minus: Texts = ()
    keep: Texts = ()
    judge: Literal["value", "absolute"] = "value"

    @property
    def told_by(self) -> Literal["normal", "lognormal", "folded normal", "weibull", "johnson"] | None:
        """The shape that the plan decides on; None where it leaves that to the kind."""
        return self.shape or ("lognormal" if self.scale == "log" and self.judge == "value" else None)


class Specification(Entry):
    """Nominal and limits of a feature for some families from a day on. [base unit]"""

    feature: str
    families: Texts
    valid_from: date
    nominal: Length | None = None
    lower: Length | None = None
    upper: Length | None = None
    target: Length | None = None

    @property
    def aim(self) -> float:
        """Target; else the nominal; else the middle of the limits; else 0. [base unit]"""
        for given in (self.target, self.nominal):
            if given is not None:
                return float(given)
        if self.lower is not None and self.upper is not None:
            return (float(self.lower) + float(self.upper)) / 2
        return 0.0


class Renewal(Entry):
    """A tool whose life is counted on one machine."""

    name: str
    machine: str
    events: Texts
    features: Texts
    count: str = "part"
    unit: str = "parts"


class EventKind(Entry):
    """A kind of event of the closed list."""

    key: str
    name: str
    effect: Literal["renews", "restarts", "none"] = "none"
    button: str | None = None
    features: Texts = ()


class Costs(Entry):
    """What mistakes and hours cost, in the shop's currency; all optional."""

    redo: dict[str, float] = Field(default_factory=dict)
    """Doing an operation again on a part, by the operation's key."""
    scrap: float | None = None
    comeback_cost: float | None = None
    comeback_chance: Amounts | None = None
    margin_per_hour: float | None = None
    shares: dict[str, float] | None = None
    followed_up: float | None = None
    """Bad parts that the shares were counted on."""
    amounts_within: float | None = None
    """Share by which any amount may be off either way."""
    cure: Amounts | None = None
    """Share of the gap that a service gives back, from and to."""


def position_key(axes: tuple[str, ...], values: tuple[str, ...]) -> str:
    """Text of a position: ``main=1;direction=V``; empty for a feature without positions."""
    return ";".join(f"{axis}={value}" for axis, value in zip(axes, values, strict=True))


def parse_position(key: str) -> dict[str, str]:
    """Axis values of a position text; the inverse of `position_key`."""
    return dict(part.split("=", 1) for part in key.split(";")) if key else {}


class Plan(Entry):
    """The whole plan. Look things up by key: ``plan.features["bore"]``, ``plan.machines["M1"]``."""

    name: str
    text: str
    sha256: str
    shop: Shop
    demonstration: Demonstration | None = None
    people: dict[str, Person] = Field(default_factory=dict)
    axes: dict[str, Texts] = Field(default_factory=dict)
    families: dict[str, Family] = Field(default_factory=dict)
    operations: dict[str, Operation] = Field(default_factory=dict)
    machines: dict[str, Machine] = Field(default_factory=dict)
    materials: dict[str, Material] = Field(default_factory=dict)
    gauges: dict[str, Gauge] = Field(default_factory=dict)
    masters: dict[str, Master] = Field(default_factory=dict)
    features: dict[str, Feature] = Field(default_factory=dict)
    specifications: Annotated[tuple[Specification, ...], BeforeValidator(_tuple)] = ()
    renewals: Annotated[tuple[Renewal, ...], BeforeValidator(_tuple)] = ()
    events: dict[str, EventKind] = Field(default_factory=dict)
    costs: dict[str, Costs] = Field(default_factory=dict)
    layouts: dict[str, Layout] = Field(default_factory=dict)

    @property
    def zone(self) -> ZoneInfo:
        """The time zone of the shop's clocks."""
        return self.shop.zone

    def axis_values(self, axis: str, family: str | None) -> tuple[str, ...]:
        """Values of an axis in a family (its own, else those all families share); () if it has none."""
        own = self.families[family].axes.get(axis) if family in self.families else None
        return own if own is not None else self.axes.get(axis, ())

    def axes_of(self, feature: str) -> tuple[str, ...]:
        """Axes that a value of the feature has, coarse to fine; for a derived feature those that remain."""
        entry = self.features[feature]
        if entry.derive == "steps":
            return (entry.axis,) if entry.axis else ()
        return entry.keep if entry.derive else entry.axes

    def positions(self, feature: str, family: str | None) -> tuple[str, ...]:
        """Position texts of a feature in a family, in order, coarse axis slowest.

        Parameters
        ----------
        feature : str
            Key of a feature, measured or derived.
        family : str or None
            Key of a family or of a master; None counts only axes that all families share.

        Returns
        -------
        positions : tuple of str
            ``("",)`` for a feature with one value a part; empty when the family does not have the
            feature at all. Steps are named by the two values they join: ``main=1-2``.
        """
        entry = self.features[feature]
        if entry.derive == "steps":
            values = self.axis_values(entry.axis or "", family)
            return tuple(f"{entry.axis}={a}-{b}" for a, b in pairwise(values))
        if entry.derive == "difference" and not self._both_sides(entry, family):
            return ()
        axes = self.axes_of(feature)
        return tuple(position_key(axes, v) for v in product(*(self.axis_values(a, family) for a in axes)))

    def side(self, names: tuple[str, ...], axis: str, family: str | None) -> tuple[str, ...]:
        """Axis values that the words of `plus` or `minus` mean in a family.

        ``first`` and ``last`` are the ends of the axis, ``inner`` all between; other words are values.
        """
        values = self.axis_values(axis, family)
        words = {"first": values[:1], "last": values[-1:], "inner": values[1:-1]}
        chosen = [v for n in names for v in (words[n] if n in words and n not in values else (n,))]
        return tuple(v for v in values if v in chosen)

    def _both_sides(self, entry: Feature, family: str | None) -> bool:
        axis = entry.axis or ""
        return all(self.side(names, axis, family) for names in (entry.plus, entry.minus))

    @cached_property
    def _specs(self) -> dict[tuple[str, str], list[Specification]]:
        found: dict[tuple[str, str], list[Specification]] = {}
        for spec in sorted(self.specifications, key=lambda s: s.valid_from):
            for family in spec.families:
                found.setdefault((spec.feature, family), []).append(spec)
        return found

    def spec_for(self, feature: str, family: str, on: date) -> Specification | None:
        """Specification in force on a day: the latest that had begun; None when there was none."""
        begun = [s for s in self._specs.get((feature, family), ()) if s.valid_from <= on]
        return begun[-1] if begun else None
