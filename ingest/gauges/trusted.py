"""How far a reading of a gauge can be trusted, from its checks and trials."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from datetime import date
from typing import Any, TypeVar

from ingest.answers.gauges import MasterFact, SettingFact, StudyFact
from ingest.gauges.checks import check_points, master_facts, off_on, setting_fact
from ingest.gauges.studies import study_facts
from ingest.gauges.suspects import spans_off
from ingest.state.moment import Moment
from spc.errors import SpcError
from spc.gauges.trust import GaugeUncertainty, gauge_uncertainty

T = TypeVar("T")


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


class GaugeTrust:
    """What each gauge of a shop can be trusted with, worked out once a moment.

    Parameters
    ----------
    moment : Moment
    """

    def __init__(self, moment: Moment) -> None:
        self._moment = moment
        self._spans = {
            gauge: [(s.first, s.until) for s in spans] for gauge, spans in spans_off(moment).items()
        }
        self._kept: dict[Hashable, Any] = {}
        self._known: dict[tuple[str, str], GaugeUncertainty | None] = {}

    def kept(self, key: Hashable, work: Callable[[], T]) -> T:
        """What was worked out under this key, or is now."""
        if key not in self._kept:
            self._kept[key] = work()
        return self._kept[key]

    def spans(self, gauge: str) -> list[tuple[date, date | None]]:
        """Times in which the gauge was off."""
        return self._spans.get(gauge, [])

    def off(self, gauge: str, day: date) -> bool:
        """Whether the gauge was off on a day."""
        return off_on(self._spans.get(gauge, ()), day)

    def of(self, gauge: str, feature: str) -> GaugeUncertainty | None:
        """Standard uncertainty of one reading of a feature; None where neither checks nor a trial tell."""
        if (gauge, feature) not in self._known:
            moment = self._moment
            checks = check_points(moment, gauge, self._spans.get(gauge, ()))
            studies, _ = study_facts(moment, gauge)
            mine: list[StudyFact] = [s for s in studies if s.feature == feature]
            resolution = moment.known.plan.gauges[gauge].resolution
            self._known[(gauge, feature)] = trust_of(
                master_facts(moment, checks),
                settings_of(moment, gauge),
                mine,
                None if resolution is None else float(resolution),
            )
        return self._known[(gauge, feature)]


def settings_of(moment: Moment, gauge: str) -> tuple[SettingFact, ...]:
    """Day-to-day differences of the processes that this gauge alone measures and that the plan says are set daily."""
    plan, found = moment.known.plan, []
    for process in moment.processes:
        facts = moment.facts.processes[process]
        if not plan.features[facts.feature].daily_setting or facts.machine in plan.gauges:
            continue
        if list(facts.gauges) == [gauge]:
            fact = setting_fact(moment, moment.assessed(process))
            if fact is not None:
                found.append(fact)
    return tuple(found)
