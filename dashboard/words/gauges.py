"""What is said of gauges, in the shop's own words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from dashboard.words.amounts import amount, count, day, number, unit_text
from dashboard.words.sentences import named
from spc.mean_squares import Ranged

if TYPE_CHECKING:
    from ingest.answers.gauges import Episode, GaugeView, StudyFact, UseFact, WarmthFact
    from ingest.plans.model import Plan
    from spc.gauges.trial import GaugeStudy

COVER = 2.0
"""Standard uncertainties within which 19 of 20 readings lie."""
GATES = (10.0, 30.0)
"""Share of the tolerance that a gauge may use up: good below the first, of no use above the second. Common practice,
no source. [%]"""
TOLD_APART = 5
"""Groups of parts that a gauge must tell apart before a chart of its readings shows the parts. Common practice."""


def gauge_text(gauge: GaugeView) -> str:
    """A gauge by key and name."""
    return named(gauge.key, gauge.name)


def ranged(figure: Ranged, unit: str, decimals: int, *, signed: bool = False) -> str:
    """A figure with its interval and unit: ``"0.02 thou (0.01 to 0.03)"``."""
    places = decimals + 1
    said = amount(figure.estimate, unit, places, signed=signed)
    if figure.lower is None or figure.upper is None:
        return said
    ends = (number(end, unit, places, signed=signed) for end in (figure.lower, figure.upper))
    return f"{said} ({' to '.join(ends)})"


def likely_text(error: Ranged, unit: str, decimals: int) -> str:
    """How a part likely differs from what the gauge read: ``"0.12 thou larger than read (0.10 to 0.14)"``."""
    way = "larger" if error.estimate < 0 else "smaller"
    said = f"{amount(abs(error.estimate), unit, decimals)} {way} than read"
    if error.lower is None or error.upper is None:
        return said
    low, high = sorted((-error.lower, -error.upper)) if error.estimate < 0 else (error.lower, error.upper)
    return f"{said} ({number(low, unit, decimals)} to {number(high, unit, decimals)})"


def check_display(gauge: GaugeView, plan: Plan) -> tuple[str, int]:
    """Unit and places in which the errors of a gauge are told: those of its checks, else of what it measures."""
    if gauge.row is not None:
        return gauge.row.display, gauge.row.decimals
    mine = [plan.features[f] for f in plan.gauges[gauge.key].features if f in plan.features]
    lengths = [f for f in mine if f.unit == "um" and f.scale == "linear"]
    return (lengths[0].display, lengths[0].decimals) if lengths else ("um", 1)


def high_low(error: float) -> str:
    """Which way a gauge reads off."""
    return "high" if error > 0 else "low"


def standing(gauge: GaugeView, plan: Plan) -> str:
    """In a sentence or two: whether what it reads can be believed, and what to do."""
    unit, places = check_display(gauge, plan)
    doubt = gauge.doubt
    if doubt is not None:
        by = f" by about {amount(abs(doubt.now.estimate), unit, places)}" if doubt.now is not None else ""
        way = f" reads {high_low(doubt.now.estimate)}{by}" if doubt.now is not None else " reads off"
        return (
            f"It{way}, and may have since {day(doubt.begun)} (noticed {day(doubt.since)}). Set or repair it, check "
            f"it on its master, and measure again the {count(len(parts_of(doubt)), 'block')} below. The machines "
            "are not what moved."
        )
    if not gauge.checks and not gauge.audits:
        return (
            "No check of it is on record, so nothing here can say whether it reads true. What it measured is shown "
            "and judged on trust: check it on a master and take the check in."
        )
    if not gauge.checks:
        return (
            "No check of it on a master is on record; only a second gauge on the same blocks speaks for it."
        )
    if not gauge.masters:
        return f"It has {count(len(gauge.checks), 'check')}, all from a time in which it was off: check it again."
    first = max(gauge.masters, key=lambda m: m.checks)
    bias = first.bias
    clear = bias.lower is not None and bias.upper is not None and (bias.lower > 0 or bias.upper < 0)
    told = (
        f"it reads {amount(abs(bias.estimate), unit, places + 1)} {high_low(bias.estimate)} on the average"
        if clear
        else "it reads true on the average, as far as they can tell"
    )
    return (
        f"Going by {count(first.checks, 'check')} on {named(first.master, first.name)} while it was not off, {told}, "
        f"{ranged(bias, unit, places, signed=True)}."
    )


def parts_of(episode: Episode) -> list[str]:
    """Serials of the parts to measure again, each once."""
    return list(dict.fromkeys(s.serial for s in episode.suspects))


def trust_text(use: UseFact) -> str:
    """How good one reading of a feature is."""
    if use.trust is None:
        return "not known"
    return f"± {amount(COVER * use.trust.standard, use.display, use.decimals)}"


TRUST_PARTS = {
    "repeats": "its own repeats",
    "setting": "from one setting to the next",
    "bias": "off its master on the average",
    "step of the scale": "the step of its scale",
    "temperature": "temperature",
}


CHART_OF_STEPS = (
    "reads in steps that are coarse beside what the readings differ by, so that the chart shows the scale: small "
    "changes are told late"
)


def coarse_text(plan: Plan, gauge: str, feature: str, shares: Mapping[str, float]) -> str:
    """That the steps of a gauge are too coarse for the tolerance of a feature, to go on after the gauge's name.

    Parameters
    ----------
    plan : Plan
    gauge, feature : str
        Plan keys.
    shares : mapping of str to float
        Step over tolerance by family, worst first; not empty.
    """
    step, entry = plan.gauges[gauge].resolution, plan.features[feature]
    assert step is not None
    shown = number(float(step), entry.display, 3).rstrip("0").rstrip(".")
    names = ", ".join(named(f, plan.families[f].name if f in plan.families else None) for f in shares)
    return (
        f"reads in steps of {shown} {unit_text(entry.display)}, {100 * next(iter(shares.values())):.0f} % of the "
        f"tolerance of {names} for {entry.name}, where a tenth is the most that should be: near a limit single "
        "readings cannot decide"
    )


def scale_text(use: UseFact) -> str:
    """Whether it reads finely enough for what it measures, in a sentence; empty where it does."""
    coarse = [s for s in use.scales if s.verdict == "too coarse for the tolerance" and s.share is not None]
    said = []
    if coarse:
        worst = max(coarse, key=lambda s: s.share or 0.0)
        said.append(
            f"one step of its scale is {100 * (worst.share or 0.0):.0f} % of the tolerance of "
            f"{', '.join(named(s.family, s.family_name) for s in coarse)}, where a tenth is the most that should be"
        )
    if use.coarse:
        machines = ", ".join(dict.fromkeys(p.split("/")[0] for p in use.coarse))
        said.append(
            f"its steps are coarse beside what {machines} differs from reading to reading, so that charts of single "
            "readings show the scale; means over many places are finer"
        )
    return "; ".join(said)


def warmth_text(fact: WarmthFact) -> str:
    """What warmth does to the readings of a family, in a sentence."""
    who = named(fact.family, fact.family_name)
    slope = ranged(fact.slope, fact.display, fact.decimals, signed=True)
    if not fact.real:
        return f"{who}: {fact.feature_name} reads the same warm or cool as far as can be told, {slope} for each °C."
    way = "larger" if fact.slope.estimate > 0 else "smaller"
    text = (
        f"{who}: {fact.feature_name} reads {way} when the block is warm, {slope} for each °C above the other blocks "
        "of the day"
    )
    if fact.warm and fact.error is not None and fact.warmest is not None:
        text += (
            f". {count(fact.warm, 'audited block')} from {day(fact.first)} to {day(fact.last)} "
            f"{'was' if fact.warm == 1 else 'were'} about {fact.warmest:.0f} °C warmer and read "
            f"{amount(abs(fact.error.estimate), fact.display, fact.decimals)} {way} than they are at rest"
        )
    return text + ": let these blocks cool before they are measured, or write both temperatures down."


def episode_text(episode: Episode, gauge: GaugeView, plan: Plan) -> str:
    """When a gauge was off, how far, and how that ended."""
    unit, places = check_display(gauge, plan)
    until = "until now" if episode.until is None else f"until {day(episode.until)}"
    if episode.ended_by is not None:
        until = f"until {episode.ended_by.kind_name} on {day(episode.ended_by.time)}"
    far = ""
    if episode.now is not None:
        by = amount(abs(episode.now.estimate), unit, places)
        far = f" It read {high_low(episode.now.estimate)} by {by} at the end"
        if episode.now.lower is not None and episode.now.upper is not None:
            ends = sorted((abs(episode.now.lower), abs(episode.now.upper)))
            far += f" ({number(ends[0], unit, places)} to {number(ends[1], unit, places)})"
        if episode.drift is not None:
            far += f", by {amount(abs(episode.drift.estimate), unit, places + 1)} more each week"
        far += "."
    sources = [source_text(source, plan) for source in episode.sources]
    return (
        f"Off from {day(episode.begun)} at the earliest, most likely since {day(episode.changed)}, noticed "
        f"{day(episode.since)}, {until}.{far} Told by {' and '.join(sources)}."
    )


def source_text(process: str, plan: Plan) -> str:
    """What told of a gauge that was off."""
    _, operation, _ = process.split("/", 2)
    if operation in plan.gauges:
        return f"blocks measured again with {named(operation, plan.gauges[operation].name)}"
    return "its checks on the master"


def blind_text(episode: Episode) -> str | None:
    """That the charts of the machines could not show it; None where nothing was compared."""
    if not episode.blind:
        return None
    lines = []
    for blind in episode.blind:
        moved = ranged(blind.moved, blind.display, blind.decimals, signed=True)
        raised = (
            "its chart raised nothing"
            if not blind.signals
            else f"its chart raised {count(blind.signals, 'change')}"
        )
        lines.append(f"{blind.machine} {blind.feature_name}: readings moved by {moved}, {raised}")
    return (
        "A machine is worked until this gauge reads right, so that its readings stay and the blocks move: "
        + "; ".join(lines)
        + "."
    )


def study_advice(study: GaugeStudy) -> list[str]:
    """What to do after a trial, in words, the most useful first."""
    said: list[str] = []
    share = study.percent_tolerance.estimate if study.percent_tolerance is not None else None
    if share is not None:
        word = (
            "fit for this tolerance" if share < GATES[0] else "usable with care: near a limit it cannot decide"
            if share < GATES[1] else "not fit to judge this tolerance"
        )  # fmt: skip
        said.append(f"The gauge with its hands uses up {share:.0f} % of the tolerance: it is {word}.")
    if study.ndc is not None and study.ndc.estimate < TOLD_APART:
        said.append(
            f"It tells {count(int(study.ndc.estimate), 'size')} of part apart, where {TOLD_APART} are needed before a "
            "chart shows the parts and not the gauge."
        )
    hands = study.reproducibility.estimate if study.reproducibility is not None else 0.0
    if share is None or share >= GATES[0]:
        if hands > study.repeatability.estimate:
            said.append(
                "Most of it is from hand to hand: agree on one way to hold, rock and set it, and try again."
            )
            if study.interaction is not None and study.interaction.estimate > hands / 2:
                said.append("The hands differ by part: look where on the part each of them measures.")
        else:
            said.append(
                "Most of it is the gauge itself: look at its contacts and its setting, or use a finer one."
            )
    if study.operators == 1:
        said.append(
            "One hand only: what another would add is not in these figures. Let a second person measure."
        )
    return said or ["Nothing to do: keep checking it on its master."]


def shares_text(study: GaugeStudy) -> str:
    """What of the tolerance and of all that is seen the gauge is, and what it tells apart, with ranges."""
    said = []
    for words, figure, form in (
        ("of the tolerance (six standard deviations)", study.percent_tolerance, "{:.0f} %"),
        ("of all that is seen", study.percent_total_variation, "{:.0f} %"),
    ):
        if figure is not None:
            said.append(f"{ends_text(figure, form)} {words}")
    text = f"Gauge and hands together are {' and '.join(said)}."
    if study.ndc is not None:
        text += f" Sizes it tells apart: {ends_text(study.ndc, '{:.0f}')}."
    return text


def ends_text(figure: Ranged, form: str) -> str:
    """A figure with its ends as far as it has them: ``"28 % (25 % to 77 %)"``, ``"4 (1 or more)"``."""
    said = form.format(figure.estimate)
    if figure.lower is not None and figure.upper is None:
        return f"{said} ({form.format(figure.lower)} or more)"
    if figure.lower is None or figure.upper is None:
        return said
    return f"{said} ({form.format(figure.lower)} to {form.format(figure.upper)})"


def trial_rows(fact: StudyFact) -> Sequence[tuple[str, str, str]]:
    """Variance components of a trial as spreads: what, how much with its range, share of all."""
    study = fact.study
    lines = (
        ("the gauge itself, same hand", study.repeatability),
        ("from hand to hand", study.operator),
        ("hands that differ by part", study.interaction),
        ("gauge and hands together", study.gauge),
        ("the parts", study.part),
        ("everything", study.total),
    )
    found = []
    for words, variance in lines:
        if variance is None:
            continue
        ends = (variance.lower, variance.upper)
        low, high = (None if end is None else max(end, 0.0) ** 0.5 for end in ends)
        sd = Ranged(max(variance.estimate, 0.0) ** 0.5, low, high)
        share = variance.estimate / study.total.estimate if study.total.estimate > 0 else 0.0
        found.append((words, ranged(sd, fact.display, fact.decimals), f"{100 * share:.0f} %"))
    return found


def due_text(gauge: GaugeView, today: object) -> str:
    """When it is due for calibration, if the plan says."""
    if gauge.due is None:
        return "The plan does not say when it is due."
    late = gauge.due < today  # type: ignore[operator]
    word = "was due" if late else "is due"
    return (
        f"Calibrated {day(gauge.calibrated)}; {word} again on {day(gauge.due)}{': overdue' if late else ''}."
    )


def step_text(gauge: GaugeView, unit: str) -> str:
    """The smallest step of its scale."""
    if gauge.resolution is None:
        return "not in the plan"
    return f"{number(gauge.resolution, unit, 3).rstrip('0').rstrip('.')} {unit_text(unit)}"
