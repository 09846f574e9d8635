"""What `check` says of a file: what each column becomes, or which layouts are near and a draft of a new one."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.words.amounts import count
from dashboard.work.shop_work import GOOD, MISUSE, Outcome

if TYPE_CHECKING:
    from ingest.plans.model import Plan
    from ingest.shop.shop import Shop
    from ingest.views.layout_shown import Shown

ROWS = 5


def check_file(plan: Plan, path: Path, layout: str | None) -> Outcome:
    """The first rows of a file as a layout reads them; exit code 2 when it cannot be read."""
    from ingest.layouts.times import microseconds
    from ingest.problems import Complaint
    from ingest.views.layout_shown import show_file

    if layout is not None and layout not in plan.layouts:
        return Outcome(
            "", MISUSE, f"The plan has no layout {layout!r}; it has {', '.join(sorted(plan.layouts))}."
        )
    data = path.read_bytes()
    now = microseconds(datetime.now(UTC).replace(tzinfo=None))
    shown = show_file(plan, path.name, data, layout, ROWS, now)
    if isinstance(shown, Complaint):
        way = f"See a draft of one with: tenthwise check {path} --draft NAME"
        return Outcome("", MISUSE, f"{path.name}: {shown.reason} {shown.remedy} {way}")
    return Outcome(as_text(path.name, shown), GOOD if not shown.wrong else MISUSE)


def as_text(name: str, shown: Shown) -> str:
    """Rows one under another, a line for each column."""
    mark = {"\t": "tab", " ": "blanks"}.get(shown.separator, repr(shown.separator))
    lines = [f"{name}: layout '{shown.layout}', separator {mark}, columns named in line {shown.header_line}."]
    for row in shown.rows:
        lines.append(f"line {row.line}")
        wide = max((len(cell.column) for cell in row.cells), default=0)
        for cell in row.cells:
            text = cell.text if len(cell.text) <= 40 else cell.text[:37] + "..."
            becomes = f" -> {cell.becomes}" if cell.becomes else ""
            lines.append(f"  {cell.column:<{wide}}  {text!r} {cell.means}{becomes}")
        lines += [f"  would be set aside: {reason}" for reason in row.wrong]
    lines.append(
        f"{count(shown.total, 'row')} read, {shown.wrong:,} would be set aside. Nothing was kept: "
        "take the file in with `tenthwise ingest`."
    )
    return "\n".join(lines)


def draft(plan: Plan, path: Path, name: str) -> tuple[str, Outcome]:
    """TOML of a new layout for a file, and what to do with it."""
    from ingest.layouts.guess import draft_layout
    from ingest.problems import Complaint

    if name in plan.layouts:
        return "", Outcome("", MISUSE, f"The plan has a layout {name!r} already: choose another name.")
    found = draft_layout(plan, path.read_bytes(), name)
    if isinstance(found, Complaint):
        return "", Outcome("", MISUSE, f"{path.name}: {found.reason} {found.remedy}")
    hint = "A draft: read it, change what is wrong, and put it into the plan; --accept does so as it stands."
    return found, Outcome(found, GOOD, hint)


def accept(shop: Shop, text: str) -> Outcome:
    """Use a changed plan; files that waited for it are taken in."""
    from ingest.problems import PlanError

    before = {r.id for r in shop.receipts()}
    try:
        shop.accept_plan(text)
    except PlanError as error:
        told = "\n".join(str(problem) for problem in error.problems)
        return Outcome("", MISUSE, f"{told}\nThe plan stays as it was.")
    read = [r for r in shop.receipts() if r.id not in before]
    more = "".join(f"\n{r.name}: {r.stored:,} of {count(r.lines, 'line')} stored" for r in read)
    return Outcome(f"The plan is accepted.{more}", GOOD)
