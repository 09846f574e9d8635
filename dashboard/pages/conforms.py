"""What a block's readings prove, given what its gauges can be trusted with: conforms, does not, cannot say."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from markupsafe import Markup

from dashboard.desk import Desk
from dashboard.markup import table, tag
from dashboard.words.amounts import amount, number, size, size_unit, unit_text
from dashboard.words.gauges import COVER, coarse_text, ranged
from dashboard.words.sentences import named
from ingest.plans.places import place_text
from spc.mean_squares import Ranged

if TYPE_CHECKING:
    from ingest.gauges.heat import AtReference
    from ingest.gauges.judged import ConformFact, Judged
    from ingest.plans.model import Plan

HEAD = ("Feature", "Gauge", "As read", "At 20 °C", "Weakest place", "Chance it is inside", "It is good to")
WORDS = {"conforms": "conforms", "does not conform": "does not conform", "cannot be told": "cannot say"}
LOOK = {"conforms": "green", "does not conform": "vermilion", "cannot be told": "orange"}
ASSUMED = {False: "taken as the other blocks of the day", True: "taken as the block"}
WHY = {
    "off": "cannot say: {gauge} was off that day, measure again",
    "two gauges": "cannot say: two gauges read it, and their settings do not fall out of the difference",
}
HOW = (
    "A feature conforms when its weakest place lies inside the limits by more than the reading may be off, does not "
    "when it lies outside by more than that, and cannot be told in between (zones of ISO 14253-1, chances by "
    "JCGM 106). The chance is that of the weakest place alone. Of a difference between readings of one gauge (a taper, "
    "a step) only what changes from one reading to the next is in doubt: the gauge's setting falls out."
)
WARM_HOW = "Drawing sizes hold at 20 °C. Corrected by the plan's materials; nothing above is corrected, both are shown."


def conforms(desk: Desk, serial: str, family: str | None) -> Markup:
    """The part of a block's page that says what its readings prove.

    Parameters
    ----------
    desk : Desk
    serial : str
    family : str or None
        Its family, for the names of places.

    Returns
    -------
    Markup
        Empty where the block has no feature with a limit.
    """
    shop = desk.shop
    facts = desk.remember(("conforms", serial), lambda: shop.conforms(serial))
    heats = desk.remember(("at reference", serial), lambda: shop.at_reference(serial))
    if not facts:
        return Markup("")
    rows = [_row(shop.plan, family, fact) for fact in facts if fact.why != "no checks"]
    body = tag("h2", "What do its readings prove?")
    if rows:
        body += table(HEAD, rows, class_="proves") + tag("p", HOW, class_="hint")
    caveats = _caveats(shop.plan, family, facts)
    if caveats:
        body += tag("ul", caveats, class_="plain")
    return body + _warmth(heats)


def _caveats(plan: Plan, family: str | None, facts: Sequence[ConformFact]) -> list[Markup]:
    """Gauges without checks, with what therefore cannot be told, and scales too coarse for a tolerance."""
    said = []
    for gauge in dict.fromkeys(f.gauge for f in facts):
        mine = [f for f in facts if f.gauge == gauge]
        link = tag("a", named(gauge, mine[0].gauge_name), href=f"/gauges/{gauge}")
        blind = list(dict.fromkeys(f.feature_name for f in mine if f.why == "no checks"))
        if blind:
            said.append(
                tag("li", link, f" has no checks on record: of {', '.join(blind)} nothing can be proved.")
            )
        shares = {f.feature: f.coarse for f in mine if f.coarse is not None}
        for feature, share in shares.items():
            if family is not None:
                said.append(tag("li", link, f" {coarse_text(plan, gauge, feature, {family: share})}."))
    return said


def _row(plan: Plan, family: str | None, fact: ConformFact) -> tuple[object, ...]:
    where = fact.feature_name + (f", pass {fact.pass_no}" if fact.pass_no > 1 else "")
    gauge = tag("a", fact.gauge, href=f"/gauges/{fact.gauge}")
    judged = fact.read
    if judged is None or fact.standard is None:
        why = WHY.get(fact.why, "cannot say").format(gauge=named(fact.gauge, fact.gauge_name))
        return where, gauge, tag("b", why, class_=LOOK["cannot be told"]), "", "", "", "not known"
    weak = (
        f"{place_text(plan, judged.position, family) or 'whole part'}: "
        f"{size(judged.value, fact.display, fact.decimals)}"
    )
    good = amount(COVER * fact.standard, fact.display, fact.decimals)
    return (
        where,
        gauge,
        _zone(judged),
        "the same" if fact.derived else _zone(fact.warm) if fact.warm is not None else "not known",
        weak,
        _chances(judged, fact.warm),
        f"± {good}",
    )


def _zone(judged: Judged) -> Markup:
    return tag("b", WORDS[judged.zone], class_=LOOK[judged.zone])


def _chances(read: Judged, warm: Judged | None) -> str:
    """As read, and at 20 degC where that is another figure."""
    first = _chance(read)
    if warm is None or _chance(warm) == first:
        return first
    return f"{first}, at 20 °C {_chance(warm)}"


def _chance(judged: Judged) -> str:
    if judged.chance > 0.999:
        return "over 99.9 %"
    return "under 0.1 %" if judged.chance < 0.001 else f"{100 * judged.chance:.1f} %"


def _warmth(heats: tuple[AtReference, ...]) -> Markup:
    rows, asked = [], []
    for heat in heats:
        if heat.corrected is None:
            if heat.matters and heat.missing in ("part temperature", "gauge temperature"):
                asked.append(
                    f"{heat.feature_name} with {heat.gauge}: no {heat.missing.replace('part', 'block')} was written "
                    "down, and block and gauge do not grow alike. Measure the temperature and write it down with "
                    "the readings."
                )
            continue
        degrees = f"{heat.part_temperature:.1f} °C"
        scale = f"{heat.gauge_temperature:.1f} °C" + (f" ({ASSUMED[heat.audit]})" if heat.assumed else "")
        unit, places = size_unit(heat.read, heat.display, heat.decimals)
        spread = COVER * heat.corrected.uncertainty
        far = heat.corrected.correction
        shown = Ranged(far, far - spread, far + spread)
        rows.append(
            (
                heat.feature_name + (f", pass {heat.pass_no}" if heat.pass_no and heat.pass_no > 1 else ""),
                heat.gauge,
                degrees,
                scale,
                f"{number(heat.read, unit, places)} {unit_text(unit)}",
                f"{number(heat.corrected.length, unit, places)} {unit_text(unit)}",
                ranged(shown, heat.display, heat.decimals, signed=True),
            )
        )
    if not rows and not asked:
        return Markup("")
    body = tag("h2", "What is it at 20 °C?")
    if rows:
        head = (
            "Mean over its places",
            "Gauge",
            "Block was",
            "Gauge was",
            "As read",
            "At 20 °C",
            "Correction",
        )
        body += table(head, rows, class_="proves") + tag("p", WARM_HOW, class_="hint")
    return body + tag("ul", [tag("li", text) for text in asked], class_="plain") if asked else body
