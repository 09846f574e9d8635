"""How far a reading of a gauge can be trusted, from its checks and trials."""

from __future__ import annotations

from collections.abc import Sequence

from ingest.answers.gauges import MasterFact, SettingFact, StudyFact
from spc.errors import SpcError
from spc.gauges.trust import GaugeUncertainty, gauge_uncertainty


def trust_of(
    masters: Sequence[MasterFact],
    settings: Sequence[SettingFact],
    studies: Sequence[StudyFact],
    resolution: float | None,
) -> GaugeUncertainty | None:
    """Standard uncertainty of one reading, from the newest trial or else the checks; None where neither is known.

    Of several masters the worst counts. Parts differ from day to day for other reasons than the setting too, so that
    what they tell is the most it can be.
    """
    if not masters and not studies:
        return None
    repeats = [studies[0].study.gauge.estimate ** 0.5] if studies else []
    repeats += [m.repeat.estimate for m in masters if m.repeat is not None] if not studies else []
    between = [m.setting.estimate for m in masters if m.setting is not None]
    by_day = [s.sd.estimate for s in settings]
    between = [min([max(between), *by_day])] if between else by_day
    bias = max((abs(m.bias.estimate) for m in masters), default=0.0)
    try:
        return gauge_uncertainty(
            max(repeats, default=0.0),
            setting=max(between, default=0.0),
            bias=bias,
            resolution=resolution or 0.0,
        )
    except SpcError:
        return None
