"""Planned trials of gauges that were taken in: several people measure the same parts several times."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from ingest.answers.gauges import StudyFact, TrialReading
from ingest.plans.places import place_text
from ingest.state.moment import Moment
from spc.errors import SpcError
from spc.gauges.trial import gauge_study

APART = 14
"""Days without a reading of a trial after which the next is another trial."""


def study_facts(moment: Moment, gauge: str) -> tuple[tuple[StudyFact, ...], dict[str, str]]:
    """Trials of a gauge, newest first, and those that say nothing, with the reason.

    Parameters
    ----------
    moment : Moment
    gauge : str

    Returns
    -------
    studies : tuple of StudyFact
    refused : dict of str to str
        Reason by feature and day. A part of the trial is a serial at a position. The tolerance is that of the
        part's family, or else the narrowest of the feature.
    """
    plan, resolved = moment.known.plan, moment.resolved
    rows = resolved.readings
    rows = rows[(rows["status"] == "study") & (rows["gauge"] == gauge)]
    found: list[StudyFact] = []
    refused: dict[str, str] = {}
    for feat, mine in rows.groupby("feat", sort=True):
        feature = plan.features[resolved.features[int(feat)]]  # type: ignore[arg-type]
        mine = mine.sort_values(["when", "seq", "line"], na_position="first", kind="stable")
        number = (np.diff(mine["day"].to_numpy(), prepend=mine["day"].iloc[0]) > APART).cumsum()
        for _, trial in mine.groupby(number, sort=True):
            when = date.fromordinal(int(trial["day"].max()) + date(1970, 1, 1).toordinal())
            lower, upper = _limits(moment, feature.key, trial, when)
            part = trial["serial"].fillna("").astype(str)
            if trial["position"].nunique() > 1:
                part = (
                    part
                    + ", "
                    + trial["position"].map(lambda text: place_text(plan, text or "") or "whole part")
                )
            value = trial["value"].astype(float)
            who = trial["operator"].fillna("").astype(str)
            try:
                study = gauge_study(
                    value.to_numpy(), part.to_numpy(), who.to_numpy(), lower=lower, upper=upper
                )
            except SpcError as error:
                refused[f"trial of {feature.name} in {when:%B %Y}"] = str(error)
                continue
            readings = zip(
                part,
                who,
                value - value.mean(),
                value - value.groupby(part).transform("mean"),
                strict=True,
            )
            found.append(
                StudyFact(
                    feature=feature.key,
                    feature_name=feature.name,
                    when=when,
                    study=study,
                    tolerance=upper - lower if lower is not None and upper is not None else None,
                    readings=tuple(TrialReading(p, w, float(a), float(b)) for p, w, a, b in readings),
                    display=feature.display,
                    decimals=feature.decimals,
                )
            )
    return tuple(sorted(found, key=lambda s: s.when, reverse=True)), refused


def _limits(
    moment: Moment, feature: str, trial: pd.DataFrame, when: date
) -> tuple[float | None, float | None]:
    plan = moment.known.plan
    known = {moment.resolved.families[int(f)] for f in trial["fam"] if f >= 0}
    families = known or {f for spec in plan.specifications if spec.feature == feature for f in spec.families}
    both = []
    for family in sorted(families):
        spec = plan.spec_for(feature, family, when)
        if spec is not None and spec.lower is not None and spec.upper is not None:
            both.append((float(spec.lower), float(spec.upper)))
    return min(both, key=lambda pair: pair[1] - pair[0]) if both else (None, None)
