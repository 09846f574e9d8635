"""Temperature: what parts measure at 20 degC, whose temperature is missing, and whether warm parts were misread."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ingest.answers.gauges import WarmthFact
from ingest.assessing.audits import WARM, paired, usual_temperatures
from ingest.plans.model import Material, Plan
from ingest.state.moment import Moment
from spc.gauges.error import mean_error
from spc.gauges.temperature import LengthAtReference, Temperature, at_reference
from spc.gauges.trust import WarmthEffect, warmth_effect
from spc.mean_squares import Ranged

READ_TO = 0.5
"""Standard uncertainty of a temperature that was written down. Common practice, no source. [K]"""
ASSUMED_TO = 1.0
"""Standard uncertainty of a gauge's temperature taken to be that of the other parts of its day. [K]"""
ALIKE = 2.0e-6
"""Materials nearer than this grow alike: at 3 degC and 100 mm they part by half a micrometre. [1/K]"""
NOTABLE = 0.01
"""A slope that chance shows less often in any of the families looked at is told as real."""


@dataclass(frozen=True)
class AtReference:
    """What one feature of a part measures at 20 degC: mean over its places, as read and corrected."""

    feature: str
    feature_name: str
    machine: str | None
    pass_no: int | None
    gauge: str
    read: float
    """Mean as read."""
    corrected: LengthAtReference | None
    """None when a temperature or a material is missing; `missing` says which."""
    part_temperature: float | None
    gauge_temperature: float | None
    assumed: bool
    """The gauge's temperature was not written down: the usual one of the day stands for it, in an audit the part's."""
    audit: bool
    """It is another gauge's second look at the part."""
    missing: str
    """"" | part temperature | gauge temperature | material of the part | material of the gauge."""
    matters: bool
    """Part and gauge do not grow alike, so that nothing cancels."""
    display: str
    decimals: int


@dataclass(frozen=True)
class MissingHeat:
    """Readings without a temperature on parts that do not grow as their gauge does."""

    family: str
    family_name: str
    gauge: str
    feature_name: str
    readings: int
    without: int
    per_degree: float
    """What one degree makes on this size. [um]"""


def material_of(plan: Plan, family: str | None) -> Material | None:
    """Material of a family; None where the plan does not tell how it grows."""
    entry = plan.families.get(family or "")
    return plan.materials.get(entry.material) if entry is not None else None


def gauge_material(plan: Plan, gauge: str) -> Material | None:
    """Material of a gauge and what it is set on; None where the plan does not tell."""
    entry = plan.gauges.get(gauge)
    return plan.materials.get(entry.material) if entry is not None else None


def part_at_reference(moment: Moment, serial: str) -> tuple[AtReference, ...]:
    """Sizes of one part at 20 degC, per feature, pass and gauge.

    Parameters
    ----------
    moment : Moment
    serial : str

    Returns
    -------
    tuple of AtReference
        Features of the length kinds size and height only. A gauge whose temperature was not written down is
        taken to be as warm as the parts of that day usually were.
    """
    plan, resolved = moment.known.plan, moment.resolved
    rows = resolved.readings
    rows = rows[
        (rows["serial"] == serial)
        & rows["status"].isin(["used", "audit"])
        & rows["gauge"].notna()
        & (rows["feat"] >= 0)
    ]
    if not len(rows):
        return ()
    usual = usual_temperatures(resolved)
    found = []
    for (feat, status, pass_no, gauge), mine in rows.groupby(
        ["feat", "status", "pass_no", "gauge"], sort=True
    ):
        feature = plan.features[resolved.features[int(feat)]]  # type: ignore[arg-type]
        if feature.kind not in ("size", "height") or feature.unit != "um":
            continue
        code = int(mine["fam"].iloc[0])
        part, tool = (
            material_of(plan, resolved.families[code] if code >= 0 else None),
            gauge_material(plan, str(gauge)),
        )
        warm, scale = _median(mine["part_temp"]), _median(mine["gauge_temp"])
        assumed = scale is None
        if scale is None:
            # An audit is made in a room of its own: its gauge is as warm as the part after its soak.
            scale = warm if status == "audit" else usual.get(int(mine["day"].iloc[0]))
        missing = (
            "material of the part" if part is None else "material of the gauge" if tool is None
            else "part temperature" if warm is None else "gauge temperature" if scale is None else ""
        )  # fmt: skip
        read, corrected = float(mine["value"].mean()), None
        if part is not None and tool is not None and warm is not None and scale is not None:
            corrected = at_reference(
                read,
                Temperature(warm, part.expansion, READ_TO, part.doubt),
                Temperature(scale, tool.expansion, ASSUMED_TO if assumed else READ_TO, tool.doubt),
            )
        machine = mine["on"].iloc[0]
        found.append(
            AtReference(
                feature=feature.key,
                feature_name=feature.name + (", audit" if status == "audit" else ""),
                machine=machine if isinstance(machine, str) else None,
                pass_no=int(pass_no) or None,  # type: ignore[arg-type]
                gauge=str(gauge),
                read=read,
                corrected=corrected,
                part_temperature=warm,
                gauge_temperature=scale,
                assumed=assumed,
                audit=status == "audit",
                missing=missing,
                matters=part is not None and (tool is None or abs(part.expansion - tool.expansion) > ALIKE),
                display=feature.display,
                decimals=feature.decimals,
            )
        )
    return tuple(found)


def _median(values: pd.Series) -> float | None:
    known = values.dropna()
    return float(known.median()) if len(known) else None


def missing_heat(moment: Moment) -> tuple[MissingHeat, ...]:
    """Where temperatures are missing on parts that do not grow as their gauge does, most readings first."""
    plan, resolved = moment.known.plan, moment.resolved
    rows = resolved.readings
    rows = rows[(rows["status"] == "used") & rows["gauge"].notna() & (rows["fam"] >= 0) & (rows["feat"] >= 0)]
    # A gauge whose material the plan does not name is taken to be of what the other gauges are.
    usual = [m for m in (gauge_material(plan, key) for key in plan.gauges) if m is not None]
    found = []
    for (fam, gauge, feat), mine in rows.groupby(["fam", "gauge", "feat"], sort=True):
        feature = plan.features[resolved.features[int(feat)]]  # type: ignore[arg-type]
        family = resolved.families[int(fam)]  # type: ignore[arg-type]
        part, tool = material_of(plan, family), gauge_material(plan, str(gauge))
        if part is None or feature.kind not in ("size", "height") or feature.unit != "um":
            continue
        if tool is not None and abs(part.expansion - tool.expansion) <= ALIKE:
            continue
        if tool is None and all(abs(part.expansion - m.expansion) <= ALIKE for m in usual):
            continue
        without = int(mine["part_temp"].isna().sum())
        if without:
            found.append(
                MissingHeat(
                    family,
                    plan.families[family].name,
                    str(gauge),
                    feature.name,
                    len(mine),
                    without,
                    part.expansion * float(mine["value"].median()),
                )
            )
    return tuple(sorted(found, key=lambda m: (-m.without, m.family, m.gauge)))


def warmth_facts(moment: Moment) -> tuple[WarmthFact, ...]:
    """Whether warm parts were read differently, family by family, held against audits of the same parts.

    Parts read while a signal on the pair of gauges was up are left out: there the gauge was off. What a pair
    differs by on parts of the usual temperature is taken off first.
    """
    plan, resolved = moment.known.plan, moment.resolved
    pairs = paired(resolved)
    if not len(pairs):
        return ()
    parts = pairs.assign(difference=pairs["value"] - pairs["again"])
    parts = parts.groupby(["feat", "fam", "gauge", "reference", "part", "pass_no"], sort=True).agg(
        difference=("difference", "mean"),
        day=("day", "max"),
        warmer=("part_temp", "median"),
        usual=("usual_temp", "median"),
    )
    parts = parts.reset_index()
    parts["warmer"] = (parts["warmer"] - parts["usual"]).astype(float)
    linear = [plan.features[resolved.features[int(f)]].scale != "log" for f in parts["feat"]]
    parts = parts[np.array(linear, dtype=bool) & (parts["fam"] >= 0) & ~_while_off(moment, parts)]
    usual = parts[parts["warmer"].abs() <= WARM]
    level = usual.groupby(["feat", "gauge", "reference"])["difference"].mean().rename("level")
    parts = parts.merge(level.reset_index(), on=["feat", "gauge", "reference"], how="inner")
    parts["difference"] -= parts["level"]
    groups = list(parts.groupby(["feat", "fam"], sort=True))
    found = []
    for (feat, fam), mine in groups:
        effect = warmth_effect(mine["difference"], mine["warmer"], tests=len(groups))
        if effect is not None:
            feature = resolved.features[int(feat)]  # type: ignore[arg-type]
            family = resolved.families[int(fam)]  # type: ignore[arg-type]
            found.append(_warmth(plan, feature, family, mine, effect))
    return tuple(found)


def _warmth(plan: Plan, key: str, family: str, parts: pd.DataFrame, effect: WarmthEffect) -> WarmthFact:
    warm = parts[parts["warmer"].abs() > WARM]
    days = pd.to_datetime(warm["day"], unit="D")
    feature = plan.features[key]
    return WarmthFact(
        family=family,
        family_name=plan.families[family].name if family in plan.families else family,
        feature_name=feature.name,
        slope=effect.slope,
        warm=len(warm),
        parts=effect.n,
        first=days.min().date() if len(warm) else None,
        last=days.max().date() if len(warm) else None,
        warmest=float(warm["warmer"].median()) if len(warm) else None,
        error=_mean(warm["difference"]) if len(warm) else None,
        real=effect.p_value < NOTABLE,
        display=feature.display,
        decimals=feature.decimals,
    )


def _mean(values: pd.Series) -> Ranged:
    return mean_error(values.to_numpy(dtype=float))


def _while_off(moment: Moment, parts: pd.DataFrame) -> np.ndarray:
    """Audited parts whose pair of gauges had moved apart when they were read."""
    off = np.zeros(len(parts), dtype=bool)
    features = moment.resolved.features
    for audit in moment.facts.audits:
        process = f"{audit.gauge}/{audit.reference}/{audit.feature}"
        mine = (
            (parts["gauge"] == audit.gauge)
            & (parts["reference"] == audit.reference)
            & (parts["feat"] == features.index(audit.feature))
        ).to_numpy()
        for signal in moment.assessed(process).state.signals:
            if signal.monitor != "level" or signal.status == "withdrawn":
                continue
            first = np.datetime64(signal.change_from).astype("datetime64[D]").astype(np.int64)
            last = np.datetime64(signal.cleared_on or "2999-01-01").astype("datetime64[D]").astype(np.int64)
            off |= mine & (parts["day"].to_numpy() >= first) & (parts["day"].to_numpy() <= last)
    return off
