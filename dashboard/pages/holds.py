"""What a process can hold now, per family, with how sure that is and what limits it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from markupsafe import Markup

from dashboard.desk import Desk
from dashboard.figures.frame import Figure
from dashboard.figures.readings import readings_chart
from dashboard.markup import join, table, tag
from dashboard.words.amounts import count, size
from ingest.answers.processes import ProcessView

if TYPE_CHECKING:
    from spc.capability.process_capability import Capability
    from spc.intervals import Index

CAUTION = (
    "The figures say what the process did, not that any block may be used: the maker's specification and the "
    "shop's qualified sign-off decide."
)
CAUSES = 3
GOOD_ENOUGH = 1.33
"""Common practice, no source: the lower end of the interval a shop usually asks for."""


def _index(index: Index | None) -> Markup:
    if index is None:
        return Markup("–")
    return tag("span", f"{index.estimate:.2f} ", tag("small", f"({index.lower:.2f} to {index.upper:.2f})"))


def _verdict(held: Capability) -> str:
    if held.refused:
        return held.refused
    if not held.stable:
        return "not stable: what it does next may differ from what it did"
    if held.ppk is None:
        return ""
    if held.ppk.lower >= GOOD_ENOUGH:
        return f"holds the drawing with room, also at the low end ({GOOD_ENOUGH} is usually asked)"
    if held.ppk.upper < GOOD_ENOUGH:
        return f"does not reach {GOOD_ENOUGH}, which is usually asked"
    return f"too few blocks to say whether it reaches {GOOD_ENOUGH}"


def _causes(held: Capability) -> str:
    parts = [
        f"{cause.name} {100 * cause.share_of_tolerance:.0f} %"
        for cause in held.causes[:CAUSES]
        if cause.share_of_tolerance >= 0.05
    ]
    return ", ".join(parts)


def holds(desk: Desk, view: ProcessView, names: dict[str, str]) -> Markup:
    """A row for each family with limits, and the caution."""
    row = view.row
    cells = []
    remarks: list[str] = []
    for family in view.families:
        try:
            held = desk.capability(row.process, family)
        except (ValueError, LookupError) as error:
            cells.append((names.get(family, family), "", "–", "–", "–", "–", "", str(error)))
            continue
        if held is None:
            continue  # no part of this family yet: nothing to say of it
        reach = " to ".join(size(value, row.display, row.decimals) for value in (held.low, held.high))
        out = f"{held.out.parts_out} of {held.out.parts}" if held.out else ""
        cells.append(
            (
                names.get(family, family),
                count(held.n_parts, "block"),
                reach if not held.refused else "–",
                _index(held.cp),
                _index(held.cpk),
                _index(held.ppk),
                out,
                join((tag("div", _verdict(held)), tag("small", _causes(held)))),
            )
        )
        remarks += [f"{names.get(family, family)}: {text}" for text in held.warnings]
    head = (
        "Family",
        "From",
        "Nearly all readings lie in (99.73 %)",
        "Cp",
        "Cpk",
        "Ppk",
        "Blocks beyond a limit",
        "What that means, and what uses up the tolerance",
    )
    return join(
        (
            tag("p", CAUTION, class_="caution-here"),
            table(head, cells, class_="holds", empty="No family with readings yet."),
            tag(
                "p", "In brackets: the interval that holds the true figure in 95 of 100 cases.", class_="hint"
            ),
            tag("ul", [tag("li", text) for text in remarks], class_="plain hint") if remarks else None,
        )
    )


def pictures(desk: Desk, view: ProcessView, names: dict[str, str]) -> list[tuple[str, Figure]]:
    """How the readings of each family lie between the drawing's limits: the name and the chart."""
    charts = []
    for family in view.families:
        try:
            held = desk.capability(view.row.process, family)
        except (ValueError, LookupError):
            continue  # the table says why nothing can be said
        classes = desk.histogram(view.row.process, family, held.fit) if held is not None else None
        if held is not None and classes is not None:
            limits = (held.lower_limit, held.upper_limit)
            charts.append((names.get(family, family), readings_chart(view, classes, limits)))
    return charts
